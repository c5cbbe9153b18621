//! Writing files whole or not at all, and replacing only what the program wrote before.
//!
//! Each folder written to keeps a list, [`WRITTEN`]: one line a file, its CRC-32 and its name. A file that is not on the
//! list, or whose CRC-32 is not the listed one, belongs to the user and is left alone unless told to force.

use crate::error::{Error, Result};
use crc::{CRC_32_ISO_HDLC, Crc};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// The list of what the program wrote into a folder.
pub const WRITTEN: &str = ".greyloom-written";
/// How a file is called while it is being written.
const PART: (&str, &str) = (".greyloom-", ".part");

/// A folder that files are about to be written into.
#[derive(Debug)]
pub struct OutputFolder {
    dir: PathBuf,
    force: bool,
    staged: BTreeMap<String, Vec<u8>>,
}

impl OutputFolder {
    /// Checks that files of these names may be written into a folder, which need not be there yet. Leaves nothing there,
    /// so call it before a long run. Errs where a file is in the way that the program did not write or that was edited
    /// since, and where nothing can be written.
    pub fn open(dir: &Path, force: bool, names: &[impl AsRef<str>]) -> Result<Self> {
        let dir = if dir.as_os_str().is_empty() {
            Path::new(".")
        } else {
            dir
        };
        let folder = OutputFolder {
            dir: dir.to_owned(),
            force,
            staged: BTreeMap::new(),
        };
        check_folder(dir)?;
        let written = Written::read(dir, force)?;
        names
            .iter()
            .try_for_each(|name| folder.check(name.as_ref(), &written))?;
        Ok(folder)
    }

    /// Keeps the content of a file until [`OutputFolder::commit`]. Errs where `name` is not a plain file name.
    pub fn stage(&mut self, name: &str, bytes: impl Into<Vec<u8>>) -> Result<()> {
        check_name(&self.dir, name)?;
        self.staged.insert(name.to_owned(), bytes.into());
        Ok(())
    }

    /// Writes everything staged and returns the paths, sorted. All names are checked again first; then all files are
    /// written beside their places, and only once all are complete are they moved there, so that a file is never half
    /// there, also where the program is stopped. Where it errs, all is as it was before.
    pub fn commit(self) -> Result<Vec<PathBuf>> {
        check_folder(&self.dir)?;
        let written = Written::read(&self.dir, self.force)?;
        self.staged
            .keys()
            .try_for_each(|name| self.check(name, &written))?;
        let created = create_folder(&self.dir)?;
        let result = self.write_all(written);
        if result.is_err() {
            // Only folders that are still empty go.
            created
                .iter()
                .take_while(|dir| fs::remove_dir(dir).is_ok())
                .for_each(drop);
        }
        result
    }

    /// Moves complete files to their places; where one can't be moved, puts back what was there before.
    fn write_all(&self, written: Written) -> Result<Vec<PathBuf>> {
        remove_leftovers(&self.dir);
        let mut complete = Vec::new();
        for (name, bytes) in &self.staged {
            complete.push((self.dir.join(name), complete_file(&self.dir, bytes)?));
        }
        let list = self.dir.join(WRITTEN);
        let places = complete.iter().map(|(path, _)| path.clone());
        let before: Vec<(PathBuf, Option<Vec<u8>>)> = places
            .chain([list])
            .map(|path| (path.clone(), fs::read(path).ok()))
            .collect();
        let result = self.move_all(complete, written);
        if result.is_err() {
            before
                .iter()
                .for_each(|(path, bytes)| put_back(&self.dir, path, bytes.as_deref()));
        }
        result
    }

    fn move_all(
        &self,
        complete: Vec<(PathBuf, NamedTempFile)>,
        mut written: Written,
    ) -> Result<Vec<PathBuf>> {
        // While files are being replaced, both the old and the new of each count as the program's own.
        written.add(&self.staged);
        written.write(&self.dir)?;
        let mut paths = Vec::new();
        for (path, file) in complete {
            file.persist(&path)
                .map_err(|e| Error::file(&path, "write", e.error))?;
            paths.push(path);
        }
        written.replace(&self.staged);
        written.write(&self.dir)?;
        Ok(paths)
    }

    fn check(&self, name: &str, written: &Written) -> Result<()> {
        check_name(&self.dir, name)?;
        let path = self.dir.join(name);
        let found = match fs::symlink_metadata(&path) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(()),
            found => found.map_err(|e| Error::file(&path, "look for this file", e))?,
        };
        if found.is_dir() {
            return Err(immovable(&path, "a folder has this name"));
        }
        if self.force {
            return Ok(());
        }
        if !found.is_file() || !written.names(name) {
            return Err(in_the_way(&path, "this program did not write it"));
        }
        let bytes =
            fs::read(&path).map_err(|e| Error::file(&path, "check whether it was edited", e))?;
        if !written.holds(name, &bytes) {
            return Err(in_the_way(
                &path,
                "it was edited after this program wrote it",
            ));
        }
        Ok(())
    }
}

/// Checks that one file may be written, by the rules of [`OutputFolder::open`]. Writes nothing.
pub fn check_file(path: &Path, force: bool) -> Result<()> {
    let (dir, name) = split(path)?;
    OutputFolder::open(dir, force, &[name]).map(drop)
}

/// Writes one file whole or not at all, by the rules of [`OutputFolder`].
pub fn write_file(path: &Path, bytes: impl Into<Vec<u8>>, force: bool) -> Result<()> {
    let (dir, name) = split(path)?;
    let mut folder = OutputFolder::open(dir, force, &[name])?;
    folder.stage(name, bytes)?;
    folder.commit().map(drop)
}

fn split(path: &Path) -> Result<(&Path, &str)> {
    let name = path.file_name().and_then(|name| name.to_str());
    name.map(|name| (path.parent().unwrap_or(Path::new("")), name))
        .ok_or_else(|| no_file_name(path))
}

fn no_file_name(path: &Path) -> Error {
    Error::file(
        path,
        "write",
        io::Error::new(io::ErrorKind::InvalidInput, "this is not a file name"),
    )
}

fn in_the_way(path: &Path, why: &str) -> Error {
    Error::InTheWay {
        path: path.to_owned(),
        why: format!("{why}; choose another place or pass --force"),
    }
}

/// What force doesn't replace either.
fn immovable(path: &Path, why: &str) -> Error {
    Error::InTheWay {
        path: path.to_owned(),
        why: format!("{why}; choose another place"),
    }
}

fn check_name(dir: &Path, name: &str) -> Result<()> {
    let plain =
        Path::new(name).file_name().is_some_and(|n| n == name) && !name.contains(char::is_control);
    if plain && name != WRITTEN {
        Ok(())
    } else {
        Err(no_file_name(&dir.join(name)))
    }
}

/// Errs where something other than a folder stands at `dir`, or at a folder above it, or where no file can be made in the
/// nearest folder that is there.
fn check_folder(dir: &Path) -> Result<()> {
    let Some(nearest) = dir
        .ancestors()
        .map(here)
        .find(|d| fs::symlink_metadata(d).is_ok())
    else {
        return Ok(());
    };
    if !nearest.is_dir() {
        return Err(immovable(nearest, "it is not a folder"));
    }
    tempfile::tempfile_in(nearest)
        .map(drop)
        .map_err(|e| Error::file(nearest, "write into this folder", e))
}

/// The last ancestor of a relative path is the empty one.
fn here(dir: &Path) -> &Path {
    if dir.as_os_str().is_empty() {
        Path::new(".")
    } else {
        dir
    }
}

/// Creates a folder and those above it; returns the ones that were not there, innermost first.
fn create_folder(dir: &Path) -> Result<Vec<PathBuf>> {
    let missing = dir
        .ancestors()
        .take_while(|d| !here(d).exists())
        .map(Path::to_owned)
        .collect();
    fs::create_dir_all(dir).map_err(|e| Error::file(dir, "create this folder", e))?;
    Ok(missing)
}

/// A complete file without a lasting name: it goes when dropped.
fn complete_file(dir: &Path, bytes: &[u8]) -> Result<NamedTempFile> {
    let write = || {
        let mut builder = tempfile::Builder::new();
        builder.prefix(PART.0).suffix(PART.1);
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o644));
        let mut file = builder.tempfile_in(dir)?;
        file.write_all(bytes)?;
        Ok(file)
    };
    write().map_err(|e| Error::file(dir, "write into this folder", e))
}

/// Makes a file what it was. The error that led here is the one to report, so errors don't count.
fn put_back(dir: &Path, path: &Path, bytes: Option<&[u8]>) {
    match bytes {
        None => drop(fs::remove_file(path)),
        Some(bytes) => drop(complete_file(dir, bytes).map(|file| file.persist(path))),
    }
}

/// Files that a run left incomplete because it was stopped. That they stay behind harms nothing, so errors don't count.
fn remove_leftovers(dir: &Path) {
    let entries = fs::read_dir(dir).into_iter().flatten().flatten();
    let is_part = |name: &str| name.starts_with(PART.0) && name.ends_with(PART.1);
    for entry in entries.filter(|entry| entry.file_name().to_str().is_some_and(is_part)) {
        let _ = fs::remove_file(entry.path());
    }
}

/// What the list of a folder says: names with the CRC-32 of their content.
struct Written(BTreeSet<(String, u32)>);

impl Written {
    fn read(dir: &Path, force: bool) -> Result<Self> {
        let path = dir.join(WRITTEN);
        let text = match fs::read(&path) {
            Err(e)
                if matches!(
                    e.kind(),
                    io::ErrorKind::NotFound | io::ErrorKind::NotADirectory
                ) =>
            {
                Vec::new()
            }
            text => text.map_err(|e| Error::file(&path, "read the list of what was written", e))?,
        };
        let entries = String::from_utf8_lossy(&text)
            .lines()
            .map(entry)
            .collect::<Option<_>>();
        match entries {
            Some(entries) => Ok(Written(entries)),
            None if force => Ok(Written(BTreeSet::new())),
            None => Err(in_the_way(
                &path,
                "it is not a list of this program, or it was edited",
            )),
        }
    }

    fn names(&self, name: &str) -> bool {
        self.0.iter().any(|(written, _)| written == name)
    }

    fn holds(&self, name: &str, bytes: &[u8]) -> bool {
        self.0.contains(&(name.to_owned(), crc32(bytes)))
    }

    fn add(&mut self, files: &BTreeMap<String, Vec<u8>>) {
        self.0.extend(
            files
                .iter()
                .map(|(name, bytes)| (name.clone(), crc32(bytes))),
        );
    }

    fn replace(&mut self, files: &BTreeMap<String, Vec<u8>>) {
        self.0.retain(|(name, _)| !files.contains_key(name));
        self.add(files);
    }

    fn write(&self, dir: &Path) -> Result<()> {
        let path = dir.join(WRITTEN);
        let text: String = self
            .0
            .iter()
            .map(|(name, crc)| format!("{crc:08x} {name}\n"))
            .collect();
        let file = complete_file(dir, text.as_bytes())?;
        file.persist(&path)
            .map(drop)
            .map_err(|e| Error::file(&path, "write", e.error))
    }
}

/// One line of the list, `cbf43926 ramp.png`.
fn entry(line: &str) -> Option<(String, u32)> {
    let (crc, name) = line.split_once(' ')?;
    Some((name.to_owned(), u32::from_str_radix(crc, 16).ok()?))
}

fn crc32(bytes: &[u8]) -> u32 {
    Crc::<u32>::new(&CRC_32_ISO_HDLC).checksum(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms.
    #[test]
    fn crc32_of_the_check_string() {
        assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
    }

    /// Past the checks, a folder in the place of one file keeps all of them as they were.
    #[test]
    fn files_that_were_moved_go_back_when_a_later_one_fails() {
        let dir = tempfile::tempdir().unwrap();
        write_file(&dir.path().join("a"), "1", false).unwrap();
        fs::create_dir_all(dir.path().join("c/full")).unwrap();
        let list = fs::read(dir.path().join(WRITTEN)).unwrap();
        let mut folder = OutputFolder::open(dir.path(), false, &["a", "b"]).unwrap();
        for name in ["a", "b", "c"] {
            folder.stage(name, "2").unwrap();
        }
        let error = folder.write_all(Written::read(dir.path(), false).unwrap());
        assert!(matches!(error, Err(Error::File { path, .. }) if path == dir.path().join("c")));
        assert_eq!(fs::read(dir.path().join("a")).unwrap(), b"1");
        assert_eq!(fs::read(dir.path().join(WRITTEN)).unwrap(), list);
        assert!(!dir.path().join("b").exists() && dir.path().join("c/full").exists());
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 3);
    }
}
