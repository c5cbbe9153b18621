//! The C player against the library's drive model, through compilers, an emulator and a checker of other makers.

mod emit_bench;

use emit_bench::*;
use greyloom::emit::{
    Built, DriverMap, Form, Layout, Rail, TableOptions, player_ram_bytes, table_bytes,
};
use greyloom::waveforms::Waveforms;
use std::process::Command;

fn built(set: &Waveforms) -> Built {
    Built::of(set, &TableOptions::default()).expect("tables")
}

/// Tables with the codes of a made-up driver: by number, any of 8 bits, any of 16.
fn built_with_codes(set: &Waveforms, seed: u64) -> Built {
    let rails = built(set).tables;
    let coded = |rails: &[Rail]| -> Vec<Rail> {
        let code = |i: usize| match seed % 3 {
            0 => i,
            1 => 255 - 3 * i,
            _ => 65_535 - 777 * i,
        };
        let each = rails.iter().enumerate();
        each.map(|(i, r)| Rail {
            code: code(i) as u16,
            ..*r
        })
        .collect()
    };
    let codes = DriverMap {
        file: "codes.toml".into(),
        row: coded(&rails.row_rails),
        column: coded(&rails.column_rails),
    };
    let options = TableOptions {
        codes: Some(codes),
        ..TableOptions::default()
    };
    Built::of(set, &options).expect("tables")
}

fn layout_of(seed: u64) -> Layout {
    if seed.is_multiple_of(2) {
        Layout::Plain
    } else {
        Layout::Packed
    }
}

/// Random pictures on random sets: every code of every line in every tick, and how long the tick lasts.
fn replay(compiler: &str, sets: u64, pictures: usize) -> (u64, u64) {
    replay_sets(compiler, sets, pictures, random_set)
}

fn replay_sets(
    compiler: &str,
    sets: u64,
    pictures: usize,
    set: fn(u64) -> Waveforms,
) -> (u64, u64) {
    let (mut played, mut ticks) = (0, 0);
    for seed in 0..sets {
        let set = set(seed);
        let built = built_with_codes(&set, seed);
        let plays = plays(&built, pictures, seed);
        ticks += replay_natively(compiler, &set, layout_of(seed), &built, &plays);
        played += plays.len() as u64;
    }
    (played, ticks)
}

#[test]
fn random_pictures_give_the_line_levels_of_the_drive_model() {
    if !has("cc", "the player against the drive model") {
        return;
    }
    let (played, ticks) = replay("cc", 10, 12);
    assert!(
        played == 120 && ticks > 50_000,
        "{played} pictures, {ticks} ticks"
    );
}

#[test]
fn zones_of_rows_give_the_line_levels_of_the_drive_model() {
    if !has("cc", "the player with zones of rows") {
        return;
    }
    let (played, ticks) = replay_sets("cc", 10, 8, random_zoned_set);
    assert!(
        played == 80 && ticks > 30_000,
        "{played} pictures, {ticks} ticks"
    );
}

#[test]
fn clang_plays_the_same() {
    if has("clang", "the player compiled by clang") {
        let (played, _) = replay("clang", 4, 6);
        assert_eq!(played, 24);
    }
}

#[test]
fn the_shipped_set_is_played_as_designed() {
    if !has("cc", "the player on the shipped set") {
        return;
    }
    let set = shipped();
    let built = built(&set);
    for layout in [Layout::Plain, Layout::Packed] {
        let plays = plays(&built, 3, 11);
        let ticks = replay_natively("cc", &set, layout, &built, &plays);
        assert!(ticks > 30_000, "{ticks} ticks");
    }
}

/// `cargo test --release --test validation_player -- --ignored --nocapture`
#[test]
#[ignore = "twenty seconds and more; the others are a small part of it"]
fn a_thousand_random_pictures_natively_and_twenty_emulated() {
    let (played, ticks) = replay("cc", 50, 20);
    println!("{played} random pictures on 50 random sets, {ticks} ticks: identical line levels");
    assert_eq!(played, 1000);
    if has("arm-none-eabi-gcc", "emulation") && has("qemu-system-arm", "emulation") {
        let set = shipped();
        let built = built(&set);
        for layout in [Layout::Plain, Layout::Packed] {
            let plays = plays(&built, 10, 12);
            let ticks = replay_emulated(&set, layout, &built, &plays);
            println!(
                "shipped set, {layout:?}: {} random pictures emulated, {ticks} ticks: identical line levels",
                plays.len()
            );
        }
    }
}

#[test]
fn twenty_random_pictures_under_emulation() {
    if !(has("arm-none-eabi-gcc", "the player emulated")
        && has("qemu-system-arm", "the player emulated"))
    {
        return;
    }
    let mut played = 0;
    for seed in [20, 21, 23, 25] {
        let set = random_set(seed);
        let built = built_with_codes(&set, seed);
        let plays = plays(&built, 5, seed);
        replay_emulated(&set, layout_of(seed), &built, &plays);
        played += plays.len();
    }
    assert_eq!(played, 20);
    for seed in [6, 7] {
        let set = random_zoned_set(seed);
        let built = built_with_codes(&set, seed);
        let plays = plays(&built, 3, seed);
        replay_emulated(&set, layout_of(seed), &built, &plays);
    }
}

/// Outside its bands nothing is put on the lines; a refresh that is ended leaves them at 0 V.
#[test]
fn too_cold_too_warm_and_ended() {
    if !has("cc", "the ends of the player") {
        return;
    }
    let set = random_set(4);
    let built = built_with_codes(&set, 4);
    let tables = &built.tables;
    let beyond = tables.hysteresis_16 as i16;
    let (low, high) = (
        tables.bands[0].low_16,
        tables.bands[tables.bands.len() - 1].high_16,
    );
    let at = |temperature_16| Play {
        seed: 9,
        temperature_16,
        balance: true,
        fresh: true,
    };
    let run = |plays: &[Play], ticks_max, more: &[&str]| {
        let folder = bench_folder(&set, &built, Layout::Packed, plays, ticks_max);
        let sources = ["bench.c", "player.c", "table.c", "-o", "bench"];
        output(
            Command::new("cc")
                .args(STRICT)
                .args(more)
                .args(sources)
                .current_dir(folder.path()),
        );
        output(&mut Command::new(folder.path().join("bench")))
    };
    let outside = run(
        &[at(low - beyond - 1), at(high + beyond + 1)],
        0,
        &["-DBENCH_CRC"],
    );
    assert_eq!(outside, b"1 0 00000000\n2 0 00000000\n");
    let code_bytes = if tables.narrow_codes() { 1 } else { 2 };
    let tick_bytes = 8 + code_bytes * set.panel.columns;
    for ended in [1, 7, 40, 70] {
        let bytes = run(&[at(low)], ended, &[]);
        assert_eq!(bytes.len(), (ended as usize + 1) * tick_bytes);
        let last = &bytes[bytes.len() - tick_bytes..];
        let row_zero = tables.row_rail(0).code.to_le_bytes();
        assert_eq!(
            (&last[..2], &last[2..4]),
            ([0xFF, 0xFF].as_slice(), row_zero.as_slice())
        );
        let zero = &tables.column_rails[0].code.to_le_bytes()[..code_bytes];
        assert!(last[8..].chunks(code_bytes).all(|code| code == zero));
    }
}

/// Every test vector of the shipped set, with its whole panel, on the emulated core.
#[test]
fn the_self_test_passes_under_emulation() {
    if !(has("arm-none-eabi-gcc", "the self test emulated")
        && has("qemu-system-arm", "the self test emulated"))
    {
        return;
    }
    let set = shipped();
    let built = built(&set);
    for layout in [Layout::Plain, Layout::Packed] {
        let folder = bench_folder(&set, &built, layout, &[], 0);
        for (name, bytes) in Form::Vectors
            .files(&set, &built, "greyloom", layout)
            .expect("files")
        {
            std::fs::write(folder.path().join(name), bytes).expect("written");
        }
        let program = build_for_m0(folder.path(), "selftest.c", &[]);
        let printed = output(&mut emulator(&program));
        assert!(
            printed.ends_with(b" vectors: identical line levels\n"),
            "{printed:?}"
        );
    }
}

/// Test vectors as a firmware team gets them, in their own self test; a prefix of one's own.
#[test]
fn the_self_test_passes_and_catches_another_player() {
    if !has("cc", "the self test") {
        return;
    }
    let sets = [
        (shipped(), Layout::Packed),
        (random_set(3), Layout::Plain),
        (random_zoned_set(5), Layout::Packed),
    ];
    for (set, layout) in sets {
        let built = built(&set);
        let folder = tempfile::tempdir().expect("a folder");
        for form in [Form::C, Form::Vectors] {
            for (name, bytes) in form.files(&set, &built, "Pier_2", layout).expect("files") {
                std::fs::write(folder.path().join(name), bytes).expect("written");
            }
        }
        let compile = || {
            let sources = ["selftest.c", "player.c", "table.c", "-o", "selftest"];
            output(
                Command::new("cc")
                    .args(STRICT)
                    .arg("-O1")
                    .args(sources)
                    .current_dir(folder.path()),
            );
            Command::new(folder.path().join("selftest"))
                .output()
                .expect("it starts")
        };
        let run = compile();
        assert!(
            run.status.success() && run.stdout.ends_with(b"vectors: identical line levels\n"),
            "{run:?}"
        );
        let player = folder.path().join("player.c");
        let text = std::fs::read_to_string(&player).expect("player");
        let late = text.replace("t < player->on[c]", "t + 1 < player->on[c]");
        assert_ne!(text, late);
        std::fs::write(&player, late).expect("written");
        let run = compile();
        assert!(
            !run.status.success() && run.stdout.ends_with(b"vectors: different line levels\n"),
            "{run:?}"
        );
    }
}

/// What the header says of flash is what the linker finds.
#[test]
fn stated_sizes_are_those_of_the_cross_compiler() {
    if !has("arm-none-eabi-gcc", "sizes on Cortex-M0+") {
        return;
    }
    for set in [shipped(), random_set(6), random_set(7)] {
        let built = built(&set);
        for layout in [Layout::Plain, Layout::Packed] {
            let folder = bench_folder(&set, &built, layout, &[], 0);
            // An array of no element is an error.
            let ram = player_ram_bytes(&built);
            let check = format!(
                "#include \"player.h\"\nextern char as_stated[sizeof(struct greyloom_player) == {ram} ? 1 : -1];\n"
            );
            std::fs::write(folder.path().join("ram.c"), check).expect("written");
            let target = [
                "-mcpu=cortex-m0plus",
                "-mthumb",
                "-Os",
                "-c",
                "table.c",
                "player.c",
                "ram.c",
            ];
            output(
                Command::new("arm-none-eabi-gcc")
                    .args(STRICT)
                    .args(target)
                    .current_dir(folder.path()),
            );
            let sizes = output(
                Command::new("arm-none-eabi-size")
                    .args(["-A", "table.o"])
                    .current_dir(folder.path()),
            );
            let sizes = String::from_utf8(sizes).expect("text");
            let rodata = sizes.lines().filter(|l| l.starts_with(".rodata"));
            let bytes: usize = rodata
                .map(|l| {
                    l.split_whitespace()
                        .nth(1)
                        .expect("size")
                        .parse::<usize>()
                        .expect("number")
                })
                .sum();
            assert_eq!(
                bytes,
                table_bytes(&built.tables, layout),
                "{layout:?}\n{sizes}"
            );
        }
    }
    let tables = built(&shipped()).tables;
    let [plain, packed] = [Layout::Plain, Layout::Packed].map(|l| table_bytes(&tables, l));
    assert!(10 * packed <= 4 * plain, "{packed} of {plain} bytes");
}

/// What runs in every tick, as the cross compiler makes it without inlining: no multiplication, no call of a division.
#[test]
fn the_tick_loop_neither_multiplies_nor_divides() {
    if !has("arm-none-eabi-gcc", "instructions of the tick loop") {
        return;
    }
    let set = shipped();
    let folder = bench_folder(&set, &built(&set), Layout::Packed, &[], 0);
    let target = [
        "-mcpu=cortex-m0plus",
        "-mthumb",
        "-O2",
        "-fno-inline",
        "-c",
        "player.c",
    ];
    output(
        Command::new("arm-none-eabi-gcc")
            .args(target)
            .current_dir(folder.path()),
    );
    let dump = ["-d", "-r", "--no-show-raw-insn", "player.o"];
    let text = output(
        Command::new("arm-none-eabi-objdump")
            .args(dump)
            .current_dir(folder.path()),
    );
    let text = String::from_utf8(text).expect("text");
    // `000003ac <slot>:`; a copy made for one use has an ending to its name.
    let is_of = |body: &&str, function: &str| {
        let name = body
            .lines()
            .next()
            .and_then(|l| l.split(['<', '.', '>']).nth(1));
        name == Some(function)
    };
    let does = |function: &str| {
        let body = text.split("\n\n").find(|b| is_of(b, function));
        let body = body.expect(function);
        assert!(body.lines().count() > 5, "{body}");
        body.contains("mul") || body.contains("__aeabi")
    };
    for function in ["slot", "hold", "load_row", "play_balance", "columns_at"] {
        assert!(!does(function), "{function}");
    }
    assert!(does("stretched") && does("factor_at"));
}

#[test]
fn static_analysis_finds_nothing() {
    if !has("cppcheck", "static analysis") {
        return;
    }
    let set = random_set(5);
    let built = built(&set);
    for layout in [Layout::Plain, Layout::Packed] {
        let folder = tempfile::tempdir().expect("a folder");
        for form in [Form::C, Form::Vectors] {
            for (name, bytes) in form.files(&set, &built, "pier", layout).expect("files") {
                std::fs::write(folder.path().join(name), bytes).expect("written");
            }
        }
        let arguments = [
            "--enable=warning,style,performance,portability",
            "--error-exitcode=1",
            "--quiet",
            "--std=c99",
        ];
        output(
            Command::new("cppcheck")
                .args(arguments)
                .args(["table.c", "player.c", "selftest.c"])
                .current_dir(folder.path()),
        );
    }
}
