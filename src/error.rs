//! What can go wrong, with the numbers in it, and the exit code that belongs to it.

use std::fmt;
use std::path::{Path, PathBuf};

pub type Result<T> = std::result::Result<T, Error>;

/// A value in an input file that is not what it must be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InputError {
    pub file: PathBuf,
    /// Line in the file, counted from 1.
    pub line: Option<usize>,
    /// Column of a table or path of a key (`drivers.select_v.min`).
    pub field: Option<String>,
    /// What stood there.
    pub value: Option<String>,
    /// What was expected, and what to do, as a phrase: "a number between 0 and 1.2".
    pub expected: String,
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file.display())?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        if let Some(field) = &self.field {
            write!(f, ", field `{field}`")?;
        }
        if let Some(value) = &self.value {
            write!(f, ": found `{value}`")?;
        }
        write!(f, ": expected {}", self.expected)
    }
}

/// A request that no design meets: what binds and what would do.
#[derive(Debug, Clone, PartialEq)]
pub struct Unmet {
    /// The request in words: "200 levels in 3 s".
    pub request: String,
    /// The constraint that binds, in words with its numbers.
    pub binding: String,
    /// Changes that would make it feasible, one sentence each.
    pub would_do: Vec<String>,
}

impl fmt::Display for Unmet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} cannot be met: {}", self.request, self.binding)?;
        for w in &self.would_do {
            write!(f, "\n  would do: {w}")?;
        }
        Ok(())
    }
}

#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// Wrong use of the command line: exit 2.
    #[error("{0}")]
    Usage(String),
    /// Wrong input: exit 3.
    #[error("{0}")]
    Input(InputError),
    /// Several wrong places in the input: exit 3.
    #[error("{}", .0.iter().map(|e| e.to_string()).collect::<Vec<_>>().join("\n"))]
    Inputs(Vec<InputError>),
    /// A file or folder that can't be read or written: exit 3.
    #[error("{}: cannot {what}: {source}", .path.display())]
    File {
        path: PathBuf,
        what: &'static str,
        source: std::io::Error,
    },
    /// A file in the way that this program did not write, or that was edited since: exit 3.
    #[error("{}: not replaced: {why}", .path.display())]
    InTheWay {
        path: PathBuf,
        /// With what to do about it.
        why: String,
    },
    /// The request can't be met: exit 4.
    #[error("{0}")]
    Unmet(Unmet),
}

impl Error {
    pub fn exit_code(&self) -> u8 {
        match self {
            Error::Usage(_) => 2,
            Error::Input(_) | Error::Inputs(_) | Error::File { .. } | Error::InTheWay { .. } => 3,
            Error::Unmet(_) => 4,
        }
    }

    pub fn file(path: &Path, what: &'static str, source: std::io::Error) -> Self {
        Error::File {
            path: path.to_owned(),
            what,
            source,
        }
    }
}
