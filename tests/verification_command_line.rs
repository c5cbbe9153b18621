//! The program as a person runs it: exit codes, what is said where, and what is left on the disk.

mod folder;
mod small_project;
mod support;

use folder::contents;
use small_project::{FILES, write_project};
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn greyloom(dir: &Path, line: &str) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("greyloom"));
    command.current_dir(dir).args(line.split_whitespace());
    command
}

fn run(dir: &Path, line: &str) -> Output {
    greyloom(dir, line).output().unwrap()
}

fn code(output: &Output) -> i32 {
    output.status.code().unwrap_or(-1)
}

fn stderr(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn stdout(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// Refused with this code; stderr has all the words, stdout nothing, and no `out` was made.
fn assert_refused(dir: &Path, line: &str, exit: i32, words: &[&str]) {
    let output = run(dir, line);
    let said = stderr(&output);
    assert_eq!(code(&output), exit, "{line}\n{said}");
    for word in words {
        assert!(said.contains(word), "{line}: no {word:?} in\n{said}");
    }
    assert_eq!(stdout(&output), "", "{line}");
    assert!(!said.contains("panicked"), "{said}");
    assert!(!dir.join("out").exists(), "{line}: left an `out`");
}

const FIT: &str = "fit project --levels 32 --budget 12s --out out";

/// `greyloom fit` over the small project with one file replaced.
fn assert_input_refused(file: &str, bytes: &[u8], words: &[&str]) {
    let dir = tempfile::tempdir().unwrap();
    let project = dir.path().join("project");
    fs::create_dir(&project).unwrap();
    write_project(&project);
    fs::write(project.join(file), bytes).unwrap();
    let path = format!("project/{file}");
    let words: Vec<&str> = std::iter::once(path.as_str())
        .chain(words.iter().copied())
        .collect();
    assert_refused(dir.path(), FIT, 3, &words);
}

#[test]
fn wrong_input_is_named_by_file_line_field_and_value() {
    let cases: [(&str, &str, &str, &[&str]); 16] = [
        (
            "chart.csv",
            "mirrored,ticks,",
            "mirrored,",
            &["line 1", "`ticks`", "missing"],
        ),
        (
            "chart.csv",
            "ticks,fill_ticks\n",
            "ticks,fill_ticks,ticks\n",
            &["line 1", "`ticks`", "doubled"],
        ),
        (
            "scans.csv",
            "repeat,reflectance",
            "repeat",
            &["line 1", "reflectance"],
        ),
        (
            "panel.toml",
            "rows = 10",
            "rows = 10\nsheets = 3",
            &["line 3", "`sheets`", "only the keys"],
        ),
        (
            "scans.csv",
            "0.25",
            "NaN",
            &["line 2", "`reflectance`", "`NaN`", "from 0 to 1.2"],
        ),
        (
            "scans.csv",
            "0.25",
            "-0.01",
            &["line 2", "`reflectance`", "`-0.01`", "from 0 to 1.2"],
        ),
        (
            "scans.csv",
            "0.25",
            "1.21",
            &["line 2", "`reflectance`", "`1.21`", "from 0 to 1.2"],
        ),
        (
            "chart.csv",
            "42,17\n",
            "49,17\n",
            &["line 2", "`ticks`", "`49`", "from 0 to 48"],
        ),
        (
            "chart.csv",
            "a,q,5,9,",
            "a,q,5,10,",
            &["line 4", "`row_last`", "`10`", "panel of 10 rows"],
        ),
        (
            "scans.csv",
            "b,p",
            "b,q",
            &["line 5", "`patch`", "`q`", "page `b`"],
        ),
        (
            "chart.csv",
            "0,5,23,plain,2",
            "0,5,24,plain,2",
            &["line 3", "`temperature_c`", "`24`", "one page"],
        ),
        (
            "panel.toml",
            "rows = 10",
            "rows = 0",
            &["line 2", "`rows`", "`0`", "from 1"],
        ),
        (
            "panel.toml",
            "min = 4.0",
            "min = 21.0",
            &["line 11", "`drivers.select_v.min`", "`21.0`", "at most max"],
        ),
        (
            "cell.csv",
            "8:30",
            "8-30",
            &["line 4", "`steps`", "`8-30`", "volts:milliseconds"],
        ),
        (
            "panel.toml",
            "\"D50\"",
            "\"A\"",
            &[
                "line 34",
                "`instrument.illuminant`",
                "`\"A\"`",
                "D50 or D65",
            ],
        ),
        (
            "scans.csv",
            "a,p,2",
            "a,p,1",
            &["line 3", "`repeat`", "`1`", "line 2"],
        ),
    ];
    for (file, from, to, words) in cases {
        let text = FILES.iter().find(|(name, _)| *name == file).unwrap().1;
        assert!(text.contains(from), "{file} holds no {from:?}");
        assert_input_refused(file, text.replacen(from, to, 1).as_bytes(), words);
    }
    let overlapping = small_project::CHART.replace("a,q,5,9,6,11", "a,q,4,9,5,11");
    assert_input_refused(
        "chart.csv",
        overlapping.as_bytes(),
        &["line 4", "`patch`", "`q`", "overlaps `p` of line 2"],
    );
}

#[test]
fn files_that_hold_no_text_are_refused() {
    for (file, _) in FILES {
        assert_input_refused(file, b"", &["line 1", "empty file"]);
        assert_input_refused(file, b"name\n\xff\xfe\n", &["line 2", "byte 0xFF", "UTF-8"]);
    }
}

#[test]
fn too_few_readings_are_counted_and_a_patch_without_one_is_a_warning() {
    let scans = small_project::SCANS.replace("a,q,1,0.35\n", "");
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("project")).unwrap();
    write_project(&dir.path().join("project"));
    fs::write(dir.path().join("project/scans.csv"), scans).unwrap();
    let words = [
        "warning: page `a`, patch `q`: no reading in scans.csv",
        "scans.csv",
        "`6 readings`",
        "at least 20 readings",
    ];
    assert_refused(dir.path(), FIT, 3, &words);
}

#[test]
fn wrong_command_lines_end_with_2() {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("project")).unwrap();
    write_project(&dir.path().join("project"));
    let cases: [(&str, &[&str]); 16] = [
        ("", &["a command is missing", "Usage: greyloom"]),
        ("weave project", &["weave"]),
        ("fit project --budget 12s --out out", &["--levels"]),
        (
            "fit project --levels 1 --budget 12s --out out",
            &["'1'", "--levels", "a whole number from 2 to 256"],
        ),
        (
            "fit project --levels 257 --budget 12s --out out",
            &["'257'", "from 2 to 256"],
        ),
        (
            "fit project --levels many --budget 12s --out out",
            &["'many'", "--levels", "a whole number"],
        ),
        (
            "fit project --levels -3 --budget 12s --out out",
            &["'-3'", "--levels", "from 2 to 256"],
        ),
        (
            "fit project --levels 32 --budget -12s --out out",
            &["'-12s'", "--budget", "from 0.001 s to 3600 s"],
        ),
        (
            "fit project --levels 32 --budget soon --out out",
            &["'soon'", "--budget", "12s, 7.5s or 800ms"],
        ),
        (
            "fit project --levels 32 --budget 12 --out out",
            &["'12'", "a time with its unit"],
        ),
        (
            "fit project --levels 32 --budget 0s --out out",
            &["'0s'", "from 0.001 s to 3600 s"],
        ),
        (
            "fit project --levels 32 --budget 12s --out out --tolerance 0.6",
            &["'0.6'", "--tolerance", "at most 0.5"],
        ),
        (
            "fit project --levels 32 --budget 12s --out out --ladder rope",
            &["'rope'", "common, per-band"],
        ),
        (
            "fit project --levels 32 --budget 12s --out out --threads 0",
            &["'0'", "--threads"],
        ),
        (
            "fit project --levels 32 --budget 12s --out out --temperature -5",
            &["--temperature -5", "5 to 40 °C", "project/panel.toml"],
        ),
        (
            "fit project --levels 32 --budget 12s --out out --temperature warm",
            &["'warm'", "--temperature"],
        ),
    ];
    for (line, words) in cases {
        assert_refused(dir.path(), line, 2, words);
    }
}

#[test]
fn projects_that_are_not_there_are_named() {
    let dir = tempfile::tempdir().unwrap();
    assert_refused(
        dir.path(),
        FIT,
        3,
        &["project: cannot read the project folder"],
    );
    fs::create_dir(dir.path().join("project")).unwrap();
    assert_refused(dir.path(), FIT, 3, &["project/panel.toml", "cannot"]);
}

#[test]
fn a_file_in_the_way_is_found_before_the_long_run() {
    let dir = tempfile::tempdir().unwrap();
    let line = "fit tile --levels 32 --budget 12s --out kept";
    assert_eq!(code(&run(dir.path(), "demo tile")), 0);
    fs::create_dir(dir.path().join("kept")).unwrap();
    fs::write(dir.path().join("kept/table.h"), "my own").unwrap();
    assert_refused(
        dir.path(),
        line,
        3,
        &["kept/table.h", "not replaced", "--force"],
    );
    assert!(!stderr(&run(dir.path(), line)).contains("fitting"));
    assert_eq!(contents(&dir.path().join("kept")).len(), 1);
}

#[test]
fn help_lists_the_commands_and_goes_to_stdout() {
    let dir = tempfile::tempdir().unwrap();
    for line in ["--help", "help", "fit --help", "--version"] {
        let output = run(dir.path(), line);
        assert_eq!((code(&output), stderr(&output).as_str()), (0, ""), "{line}");
        assert!(stdout(&output).contains("greyloom"), "{line}");
    }
    let help = stdout(&run(dir.path(), "--help"));
    for command in ["demo", "fit", "preview", "emit", "verify-image"] {
        assert!(help.contains(&format!("\n  {command} ")), "{help}");
    }
}

#[test]
fn demo_writes_a_project_and_spares_edited_files() {
    let dir = tempfile::tempdir().unwrap();
    let first = run(dir.path(), "demo tile");
    assert_eq!(code(&first), 0, "{}", stderr(&first));
    assert!(stdout(&first).contains("tile/panel.toml\n"));
    assert!(stderr(&first).contains("greyloom fit tile"));
    let tile = dir.path().join("tile");
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/harbour-tile");
    for (name, bytes) in contents(&shipped) {
        assert_eq!(fs::read(tile.join(&name)).unwrap(), bytes, "{name}");
    }
    let before = contents(&tile);
    assert_eq!(code(&run(dir.path(), "demo tile")), 0);
    assert_eq!(contents(&tile), before);
    fs::write(tile.join("panel.toml"), "name = \"mine\"").unwrap();
    assert_refused(
        dir.path(),
        "demo tile",
        3,
        &["tile/panel.toml", "edited", "--force"],
    );
    assert_eq!(
        fs::read(tile.join("panel.toml")).unwrap(),
        b"name = \"mine\""
    );
    assert_eq!(code(&run(dir.path(), "demo tile --force")), 0);
    assert_eq!(contents(&tile), before);
}

/// A folder with a finished set in it.
fn with_set() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir(dir.path().join("set")).unwrap();
    let text = support::harbour_tile().to_json();
    fs::write(dir.path().join("set/waveforms.json"), text).unwrap();
    dir
}

#[test]
fn preview_draws_beside_the_set_or_where_told() {
    let dir = with_set();
    for (line, file) in [
        ("preview set/waveforms.json", "set/ramp.png"),
        (
            "preview set/waveforms.json --temperature 23",
            "set/ramp-23C.png",
        ),
        (
            "preview set/waveforms.json --temperature 23 --out cold.png",
            "cold.png",
        ),
    ] {
        let output = run(dir.path(), line);
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        assert_eq!(stdout(&output), format!("{file}\n"));
        let png = image::load_from_memory(&fs::read(dir.path().join(file)).unwrap()).unwrap();
        assert!(png.width() > 1000 && png.height() > 300);
    }
    let one = fs::metadata(dir.path().join("set/ramp-23C.png"))
        .unwrap()
        .len();
    assert!(one < fs::metadata(dir.path().join("set/ramp.png")).unwrap().len());
    assert_refused(
        dir.path(),
        "preview set/waveforms.json --temperature 41 --out out",
        2,
        &["--temperature 41", "5 to 40 °C"],
    );
}

#[test]
fn a_mangled_set_is_refused_by_both() {
    let dir = with_set();
    let text = support::harbour_tile()
        .to_json()
        .replacen("\"levels\": 32", "\"levels\": 33", 1);
    fs::write(dir.path().join("set/bad.json"), text).unwrap();
    for line in [
        "emit set/bad.json --out out",
        "preview set/bad.json --out out",
    ] {
        assert_refused(
            dir.path(),
            line,
            3,
            &["set/bad.json", "line", "targets_lstar"],
        );
    }
}

#[test]
fn the_same_set_gives_the_same_bytes_on_any_number_of_threads() {
    let dir = with_set();
    let made = |to: &str, threads: &str| {
        for line in [
            format!("emit set/waveforms.json --out {to} --form all"),
            format!("preview set/waveforms.json --out {to}/ramp.png"),
        ] {
            let output = greyloom(dir.path(), &line)
                .env("RAYON_NUM_THREADS", threads)
                .output();
            assert_eq!(code(&output.unwrap()), 0);
        }
        contents(&dir.path().join(to))
    };
    let first = made("one", "1");
    assert_eq!(first.len(), 13);
    assert_eq!(made("two", "2"), first);
    assert_eq!(made("three", "1"), first);
}

#[test]
fn a_reader_that_closes_early_is_no_error() {
    let dir = tempfile::tempdir().unwrap();
    let mut child = greyloom(dir.path(), "--help")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_under_stdout_is_told() {
    let dir = tempfile::tempdir().unwrap();
    let full = fs::File::create("/dev/full").unwrap();
    let output = greyloom(dir.path(), "--help")
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(code(&output), 3);
    assert!(stderr(&output).contains("standard output"));
}
