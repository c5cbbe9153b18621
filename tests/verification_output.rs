//! Files are written whole or not at all, and only what the program wrote before is replaced.

use greyloom::Error;
use greyloom::output::{OutputFolder, WRITTEN, check_file, write_file};
use std::fs;
use std::path::Path;

fn write(dir: &Path, force: bool, files: &[(&str, &str)]) -> Result<usize, Error> {
    let names: Vec<&str> = files.iter().map(|(name, _)| *name).collect();
    let mut folder = OutputFolder::open(dir, force, &names)?;
    for (name, text) in files {
        folder.stage(name, *text)?;
    }
    folder.commit().map(|paths| paths.len())
}

fn text(path: impl AsRef<Path>) -> String {
    fs::read_to_string(path).unwrap()
}

fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn assert_in_the_way<T: std::fmt::Debug>(result: Result<T, Error>, path: &Path, word: &str) {
    match result {
        Err(Error::InTheWay { path: found, why }) => {
            assert_eq!(found, path);
            assert!(why.contains(word), "{why}");
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_fresh_folder_gets_the_files_and_their_list() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("out/pier");
    assert_eq!(
        write(&out, false, &[("ramp.png", "b"), ("check", "123456789")]).unwrap(),
        2
    );
    assert_eq!(names(&out), [WRITTEN, "check", "ramp.png"]);
    assert_eq!(text(out.join("check")), "123456789");
    // CRC-32/ISO-HDLC of "123456789" is its published check value; that of "b" comes from gzip.
    assert_eq!(
        text(out.join(WRITTEN)),
        "cbf43926 check\n71beeff9 ramp.png\n"
    );
}

#[test]
fn own_files_are_replaced_and_others_stay_listed() {
    let dir = tempfile::tempdir().unwrap();
    write(dir.path(), false, &[("a", "1"), ("b", "2")]).unwrap();
    write(dir.path(), false, &[("b", "3"), ("c", "4")]).unwrap();
    write(dir.path(), false, &[("a", "5"), ("b", "6"), ("c", "7")]).unwrap();
    assert_eq!(
        ["a", "b", "c"].map(|name| text(dir.path().join(name))),
        ["5", "6", "7"]
    );
    assert_eq!(text(dir.path().join(WRITTEN)).lines().count(), 3);
}

#[test]
fn edited_files_stay_unless_forced() {
    let dir = tempfile::tempdir().unwrap();
    write(dir.path(), false, &[("a", "1"), ("b", "2")]).unwrap();
    fs::write(dir.path().join("b"), "mine").unwrap();
    assert_in_the_way(
        write(dir.path(), false, &[("a", "3"), ("b", "4")]),
        &dir.path().join("b"),
        "edited",
    );
    assert_eq!(
        (text(dir.path().join("a")), text(dir.path().join("b"))),
        ("1".into(), "mine".into())
    );
    write(dir.path(), true, &[("a", "3"), ("b", "4")]).unwrap();
    write(dir.path(), false, &[("a", "5"), ("b", "6")]).unwrap();
    assert_eq!(
        (text(dir.path().join("a")), text(dir.path().join("b"))),
        ("5".into(), "6".into())
    );
}

#[test]
fn foreign_files_stay_unless_forced() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("b"), "mine").unwrap();
    assert_in_the_way(
        write(dir.path(), false, &[("a", "1"), ("b", "2")]),
        &dir.path().join("b"),
        "did not write",
    );
    assert_eq!(names(dir.path()), ["b"]);
    assert_eq!(text(dir.path().join("b")), "mine");
    write(dir.path(), true, &[("a", "1"), ("b", "2")]).unwrap();
    assert_eq!(text(dir.path().join("b")), "2");
}

#[test]
fn a_folder_in_the_place_of_a_file_stays_even_if_forced() {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("b")).unwrap();
    for force in [false, true] {
        assert_in_the_way(
            write(dir.path(), force, &[("a", "1"), ("b", "2")]),
            &dir.path().join("b"),
            "folder",
        );
    }
    assert_eq!(names(dir.path()), ["b"]);
}

#[test]
fn a_foreign_list_stays_unless_forced() {
    let dir = tempfile::tempdir().unwrap();
    for list in ["shopping\n", "zz a\n", "\u{0}"] {
        fs::write(dir.path().join(WRITTEN), list).unwrap();
        assert_in_the_way(
            write(dir.path(), false, &[("a", "1")]),
            &dir.path().join(WRITTEN),
            "list",
        );
    }
    write(dir.path(), true, &[("a", "1")]).unwrap();
    write(dir.path(), false, &[("a", "2")]).unwrap();
}

#[test]
fn opening_leaves_nothing_behind() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("deep/down");
    let folder = OutputFolder::open(&out, false, &["a"]).unwrap();
    check_file(&out.join("b"), false).unwrap();
    assert_eq!(names(dir.path()), Vec::<String>::new());
    drop(folder);
    assert_eq!(names(dir.path()), Vec::<String>::new());
}

#[test]
fn a_failed_commit_leaves_nothing_behind() {
    let dir = tempfile::tempdir().unwrap();
    let mut folder = OutputFolder::open(dir.path(), false, &["a", "b"]).unwrap();
    folder.stage("a", "1").unwrap();
    folder.stage("b", "2").unwrap();
    // Someone else writes during the long run.
    fs::write(dir.path().join("b"), "mine").unwrap();
    assert_in_the_way(folder.commit(), &dir.path().join("b"), "did not write");
    assert_eq!(names(dir.path()), ["b"]);
    // A name too long for a file system fails only once the folder is there: it goes again, with the file moved before.
    let out = dir.path().join("new/folder");
    let long = "x".repeat(300);
    let mut folder = OutputFolder::open(&out, false, &["a"]).unwrap();
    folder.stage("a", "1").unwrap();
    folder.stage(&long, "2").unwrap();
    assert!(matches!(folder.commit(), Err(Error::File { .. })));
    assert_eq!(names(dir.path()), ["b"]);
}

#[test]
fn places_that_take_no_files_are_told_before_the_run() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("file");
    fs::write(&file, "mine").unwrap();
    for out in [file.clone(), file.join("below")] {
        assert_in_the_way(
            OutputFolder::open(&out, true, &["a"]),
            &file,
            "not a folder; choose another place",
        );
    }
    if cfg!(target_os = "linux") {
        let error = OutputFolder::open(Path::new("/proc/pier"), true, &["a"]).unwrap_err();
        assert!(
            error.to_string().starts_with("/proc: cannot write"),
            "{error}"
        );
    }
}

#[test]
fn names_are_plain_file_names() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["", ".", "..", "a/b", "/a", "../a", "a\nb", WRITTEN] {
        let error = OutputFolder::open(dir.path(), true, &[name]).unwrap_err();
        assert!(
            error.to_string().contains("not a file name"),
            "{name:?}: {error}"
        );
        assert!(
            OutputFolder::open(dir.path(), true, &["a"])
                .unwrap()
                .stage(name, "1")
                .is_err(),
            "{name:?}"
        );
    }
    assert_eq!(names(dir.path()), Vec::<String>::new());
}

#[test]
fn a_single_file_follows_the_same_rules() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("new/ramp.png");
    write_file(&path, "1", false).unwrap();
    write_file(&path, "2", false).unwrap();
    fs::write(&path, "mine").unwrap();
    assert_in_the_way(check_file(&path, false), &path, "edited");
    assert_in_the_way(write_file(&path, "3", false), &path, "edited");
    assert_eq!(text(&path), "mine");
    check_file(&path, true).unwrap();
    write_file(&path, "4", true).unwrap();
    assert_eq!(
        (text(&path), names(path.parent().unwrap())),
        ("4".into(), vec![WRITTEN.into(), "ramp.png".into()])
    );
    assert!(write_file(dir.path().join("..").as_path(), "5", true).is_err());
}

#[test]
fn leftovers_of_a_stopped_run_are_cleared() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join(".greyloom-abc123.part"), "half").unwrap();
    fs::write(dir.path().join("other.part"), "mine").unwrap();
    write(dir.path(), false, &[("a", "1")]).unwrap();
    assert_eq!(names(dir.path()), [WRITTEN, "a", "other.part"]);
}

/// The list may hold an old and a new entry of one file, as it does if the program is stopped while files are replaced.
#[test]
fn a_stopped_replacement_can_be_repeated() {
    let dir = tempfile::tempdir().unwrap();
    let list = "cbf43926 a\n71beeff9 a\ncbf43926 b\n71beeff9 b\n";
    fs::write(dir.path().join(WRITTEN), list).unwrap();
    fs::write(dir.path().join("a"), "b").unwrap();
    fs::write(dir.path().join("b"), "123456789").unwrap();
    write(dir.path(), false, &[("a", "b"), ("b", "b")]).unwrap();
    assert_eq!(text(dir.path().join(WRITTEN)), "71beeff9 a\n71beeff9 b\n");
}

#[cfg(unix)]
#[test]
fn files_get_normal_permissions_and_links_are_not_followed() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    write(dir.path(), false, &[("a", "1")]).unwrap();
    for name in ["a", WRITTEN] {
        let mode = fs::metadata(dir.path().join(name))
            .unwrap()
            .permissions()
            .mode()
            & 0o777;
        // Owner reads and writes, nobody more than reads: 0644 less the umask.
        assert_eq!(
            (mode & 0o600, mode & !0o644),
            (0o600, 0),
            "{name}: {mode:o}"
        );
    }
    fs::write(dir.path().join("mine"), "mine").unwrap();
    std::os::unix::fs::symlink(dir.path().join("mine"), dir.path().join("b")).unwrap();
    assert_in_the_way(
        write(dir.path(), false, &[("b", "2")]),
        &dir.path().join("b"),
        "did not write",
    );
    write(dir.path(), true, &[("b", "2")]).unwrap();
    assert_eq!(
        (text(dir.path().join("mine")), text(dir.path().join("b"))),
        ("mine".into(), "2".into())
    );
}
