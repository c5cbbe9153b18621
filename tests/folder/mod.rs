//! What a folder holds, to tell that a run changed nothing in it.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Every file by name, with the list of what was written.
pub fn contents(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(dir).unwrap().map(Result::unwrap);
    let file = |e: fs::DirEntry| {
        (
            e.file_name().into_string().unwrap(),
            fs::read(e.path()).unwrap(),
        )
    };
    entries.map(file).collect()
}
