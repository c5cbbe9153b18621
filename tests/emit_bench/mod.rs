//! Random sets and pictures, the C compilers and emulators that play them, and what they must put on the lines.
#![allow(dead_code)]

#[path = "../row_zones/mod.rs"]
mod row_zones;

use greyloom::drive::{Erase, Field, Stroke};
use greyloom::emit::lines::Refresh;
use greyloom::emit::stream::each_tick;
use greyloom::emit::{Built, Form, Layout, crc32};
use greyloom::panel::Levels;
use greyloom::waveforms::{
    Band, FORMAT, Figures, Interval, PanelSize, Predicted, StretchAt, VERSION, Waveforms,
};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{RngCore, SeedableRng};
use row_zones::zones;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

pub const STRICT: [&str; 6] = [
    "-std=c99",
    "-Wall",
    "-Wextra",
    "-Wpedantic",
    "-Wconversion",
    "-Werror",
];
const PREFIX: &str = "greyloom";

/// Whether a program is there; says so where a check is left out.
pub fn has(program: &str, check: &str) -> bool {
    let found = Command::new(program)
        .arg("--version")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    if found.is_err() {
        eprintln!("skipped: {check}: there is no {program} here");
    }
    found.is_ok()
}

/// Runs a command, which must end well, and gives what it prints.
pub fn output(command: &mut Command) -> Vec<u8> {
    let run = command.output().expect("the program starts");
    let told =
        String::from_utf8_lossy(&run.stderr).into_owned() + &String::from_utf8_lossy(&run.stdout);
    assert!(run.status.success(), "{command:?}\n{told}");
    run.stdout
}

pub fn shipped() -> Waveforms {
    let file = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/waveforms/harbour-tile/waveforms.json"
    );
    Waveforms::read(Path::new(file)).expect("the shipped set")
}

/// One refresh of a random picture.
#[derive(Debug, Clone, Copy)]
pub struct Play {
    pub seed: u32,
    pub temperature_16: i16,
    pub balance: bool,
    pub fresh: bool,
}

/// Plays of a set: temperatures all over its bands and up to the hysteresis beyond, every other with balance.
pub fn plays(built: &Built, count: usize, seed: u64) -> Vec<Play> {
    let mut random = Random::new(seed);
    let (first, last) = (
        &built.tables.bands[0],
        &built.tables.bands[built.tables.bands.len() - 1],
    );
    let beyond = i64::from(built.tables.hysteresis_16);
    let (low, high) = (
        i64::from(first.low_16) - beyond,
        i64::from(last.high_16) + beyond,
    );
    (0..count)
        .map(|i| Play {
            seed: random.below(1 << 31) as u32,
            temperature_16: (low + random.below((high - low + 1) as u64) as i64) as i16,
            balance: i % 2 == 0,
            fresh: i % 3 == 0,
        })
        .collect()
}

/// The picture of a seed, dark for 0; the same is in bench.c.
pub fn picture(set: &Waveforms, seed: u32) -> Vec<u16> {
    let pixels = (set.panel.rows * set.panel.columns) as u32;
    let level = |index: u32| {
        let mut x = seed
            .wrapping_mul(747_796_405)
            .wrapping_add(index.wrapping_mul(2_891_336_453));
        x ^= x >> 16;
        x = x.wrapping_mul(0x45d9f3b);
        x ^= x >> 16;
        if seed == 0 {
            0
        } else {
            ((x >> 8) % set.levels as u32) as u16
        }
    };
    (0..pixels).map(level).collect()
}

/// The band that plays: by the words of the table's header, not by the player's code.
pub fn band_of(built: &Built, before: Option<usize>, t: i16) -> usize {
    let bands = &built.tables.bands;
    let beyond = i32::from(built.tables.hysteresis_16);
    let t = i32::from(t);
    let kept = |i: &usize| {
        i32::from(bands[*i].low_16) - beyond <= t && t <= i32::from(bands[*i].high_16) + beyond
    };
    let serves = || {
        bands
            .iter()
            .position(|b| i32::from(b.low_16) <= t && t < i32::from(b.high_16))
    };
    let outside = if t < i32::from(bands[0].low_16) {
        0
    } else {
        bands.len() - 1
    };
    before.filter(kept).or_else(serves).unwrap_or(outside)
}

/// Hands every tick that the plays must give, as bytes, to `see`, with the number of its play.
pub fn expected(set: &Waveforms, built: &Built, plays: &[Play], mut see: impl FnMut(usize, &[u8])) {
    let mut before = None;
    for (i, play) in plays.iter().enumerate() {
        let band = band_of(built, before.filter(|_| !play.fresh), play.temperature_16);
        before = Some(band);
        let levels = picture(set, play.seed);
        let picture = Levels {
            columns: set.panel.columns,
            levels: &levels,
        };
        let refresh = Refresh::new(set, &set.bands[band], picture, play.balance);
        let factor = built.tables.bands[band].factor_4096(play.temperature_16);
        let mut bytes = Vec::new();
        each_tick(&refresh, &built.tables, factor, |tick| {
            bytes.clear();
            tick.put(built.tables.narrow_codes(), &mut bytes);
            see(i, &bytes);
        });
    }
}

/// A folder with the player, the table and the bench of some plays.
pub fn bench_folder(
    set: &Waveforms,
    built: &Built,
    layout: Layout,
    plays: &[Play],
    ticks_max: u32,
) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, bytes: &[u8]| {
        std::fs::write(folder.path().join(name), bytes).expect("written")
    };
    for (name, bytes) in Form::C.files(set, built, PREFIX, layout).expect("C") {
        write(name, &bytes);
    }
    let rows: String = plays
        .iter()
        .map(|p| {
            format!(
                "    {{ {}u, {}, {}, {} }},\n",
                p.seed,
                p.temperature_16,
                u8::from(p.balance),
                u8::from(p.fresh)
            )
        })
        .collect();
    let list = format!(
        "#include <stdint.h>\n#define BENCH_TICKS_MAX {ticks_max}u\nstatic const struct {{ uint32_t seed; int16_t temperature_16; uint8_t balance, fresh; }} refreshes[] = {{\n{rows}}};\n"
    );
    write("bench.h", list.as_bytes());
    write("bench.c", include_bytes!("bench.c"));
    write("startup.c", include_bytes!("startup.c"));
    write("microbit.ld", include_bytes!("microbit.ld"));
    folder
}

/// Compiles the bench with a native compiler and compares every byte that it puts on the lines; gives the ticks.
pub fn replay_natively(
    compiler: &str,
    set: &Waveforms,
    layout: Layout,
    built: &Built,
    plays: &[Play],
) -> u64 {
    let folder = bench_folder(set, built, layout, plays, 0);
    let sources = ["bench.c", "player.c", "table.c"];
    output(
        Command::new(compiler)
            .args(STRICT)
            .arg("-O2")
            .args(sources)
            .args(["-o", "bench"])
            .current_dir(folder.path()),
    );
    let mut child = Command::new(folder.path().join("bench"))
        .stdout(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut put = std::io::BufReader::with_capacity(1 << 20, child.stdout.take().expect("piped"));
    let (mut ticks, mut found) = (0, Vec::new());
    expected(set, built, plays, |play, bytes| {
        found.resize(bytes.len(), 0);
        put.read_exact(&mut found)
            .expect("as many ticks as expected");
        assert_eq!(found, bytes, "tick {ticks}, {:?}", plays[play]);
        ticks += 1;
    });
    assert_eq!(
        put.read(&mut [0]).expect("an end"),
        0,
        "more ticks than expected"
    );
    assert!(child.wait().expect("it ends").success());
    ticks
}

/// Compiles a program of the bench's folder for Cortex-M0+.
pub fn build_for_m0(folder: &Path, program: &str, more: &[&str]) -> PathBuf {
    let target = [
        "-mcpu=cortex-m0plus",
        "-mthumb",
        "--specs=rdimon.specs",
        "--specs=nano.specs",
    ];
    let sources = [
        program,
        "player.c",
        "table.c",
        "startup.c",
        "-o",
        "program.elf",
    ];
    output(
        Command::new("arm-none-eabi-gcc")
            .args(STRICT)
            .args(target)
            .args(["-O2", "-T", "microbit.ld"])
            .args(more)
            .args(sources)
            .current_dir(folder),
    );
    folder.join("program.elf")
}

/// QEMU's board with a Cortex-M0, which runs all that a Cortex-M0+ does.
pub fn emulator(program: &Path) -> Command {
    let mut command = Command::new("qemu-system-arm");
    command
        .args([
            "-M", "microbit", "-display", "none", "-monitor", "none", "-serial", "none",
        ])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(program)
        .stdin(Stdio::null());
    command
}

/// Plays under emulation and compares ticks and CRC of each; gives the ticks.
pub fn replay_emulated(set: &Waveforms, layout: Layout, built: &Built, plays: &[Play]) -> u64 {
    let folder = bench_folder(set, built, layout, plays, 0);
    let program = build_for_m0(folder.path(), "bench.c", &["-DBENCH_CRC"]);
    let printed = String::from_utf8(output(&mut emulator(&program))).expect("text");
    let mut streams = vec![(0u64, Vec::new()); plays.len()];
    expected(set, built, plays, |play, bytes| {
        streams[play].0 += 1;
        streams[play].1.extend_from_slice(bytes);
    });
    let wanted: String = streams
        .iter()
        .map(|(n, bytes)| format!("0 {n} {:08X}\n", crc32(bytes)))
        .collect();
    assert_eq!(printed, wanted);
    streams.iter().map(|s| s.0).sum()
}

/// Whole numbers from a seed.
pub struct Random(Xoshiro256PlusPlus);

impl Random {
    pub fn new(seed: u64) -> Self {
        Random(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    pub fn below(&mut self, n: u64) -> u64 {
        self.0.next_u64() % n
    }

    fn within(&mut self, low: u64, high: u64) -> u64 {
        low + self.below(high - low + 1)
    }

    fn chance(&mut self, percent: u64) -> bool {
        self.below(100) < percent
    }

    fn volts(&mut self, low: u64, high: u64) -> f64 {
        self.within(4 * low, 4 * high) as f64 / 4.0
    }
}

/// A set of any shape: lightening and mirrored fields, no guard, no stroke, one line, 256 levels, with and without balance,
/// stretch and own ladders.
pub fn random_set(seed: u64) -> Waveforms {
    let mut r = Random::new(seed);
    let levels = if r.chance(10) {
        256
    } else {
        r.within(2, 40) as usize
    };
    let mut edge = r.within(0, 15) as f64 - 5.0;
    let bands = (0..r.within(1, 4))
        .map(|_| {
            let low = edge;
            edge += r.within(2, 12) as f64;
            random_band(&mut r, low, edge, levels)
        })
        .collect();
    Waveforms {
        format: FORMAT.into(),
        version: VERSION,
        panel: PanelSize {
            name: format!("pier {seed}"),
            rows: r.within(1, 14) as usize,
            columns: r.within(1, 40) as usize,
            field_settle_ms: r.below(4) as f64,
        },
        levels,
        targets_lstar: ladder(levels),
        bands,
        certificate: None,
    }
}

/// The same with zones of rows in most bands, each with another table.
pub fn random_zoned_set(seed: u64) -> Waveforms {
    let mut set = random_set(seed);
    let mut r = Random::new(seed ^ 0x20E5);
    let rows = set.panel.rows;
    let first = r.below(set.bands.len() as u64) as usize;
    for (i, band) in set.bands.iter_mut().enumerate() {
        if i != first && r.chance(30) {
            continue;
        }
        let cuts: Vec<usize> = (0..r.within(0, 4))
            .map(|_| r.below(rows as u64) as usize)
            .collect();
        let table = std::mem::take(&mut band.ticks);
        let fields = band.fields.clone();
        band.zones = zones(rows, &cuts, || {
            let mut other = |(f, t): (&Field, &u32)| match r.chance(50) {
                true => *t,
                false => (*t + r.below(3) as u32).min(f.slot_ticks),
            };
            let mut level = |ticks: &Vec<u32>| fields.iter().zip(ticks).map(&mut other).collect();
            table.iter().map(&mut level).collect()
        });
    }
    set
}

fn ladder(levels: usize) -> Vec<f64> {
    (0..levels)
        .map(|i| 40.0 + 45.0 * i as f64 / levels as f64)
        .collect()
}

fn random_band(r: &mut Random, low: f64, high: f64, levels: usize) -> Band {
    let slot_most = if r.chance(15) { 300 } else { 25 };
    let fields: Vec<Field> = (0..r.within(1, 3))
        .map(|_| random_field(r, slot_most))
        .collect();
    // Every other field's ticks fall from level to level, as a design's mostly do.
    let falling = r.below(2) as usize;
    let ticks = (0..levels as u32)
        .map(|level| {
            let of = |(i, f): (usize, &Field)| match i % 2 == falling {
                true => f.slot_ticks - f.slot_ticks * level / levels as u32,
                false => r.below(u64::from(f.slot_ticks) + 1) as u32,
            };
            fields.iter().enumerate().map(of).collect()
        })
        .collect();
    let entries = [0, 1, 3][r.below(3) as usize];
    let strokes = (0..r.below(4))
        .map(|_| Stroke {
            pixel_v: r.volts(1, 18) - 9.0,
            ms: r.within(1, 60) as f64,
        })
        .collect();
    Band {
        temperature_c: Interval {
            low,
            design: (low + high) / 2.0,
            high,
        },
        refresh_s: 9.0,
        stretch: (0..entries)
            .map(|i| StretchAt {
                temperature_c: low + (high - low) * i as f64 / 2.0,
                factor: r.within(2048, 8192) as f64 / 4096.0,
            })
            .collect(),
        erase: Erase {
            name: "short".into(),
            strokes,
            rest_ms: r.below(50) as f64,
        },
        resting_balance_v: r.chance(70).then(|| r.volts(1, 3)),
        targets_lstar: r.chance(30).then(|| ladder(levels)),
        ticks,
        zones: Vec::new(),
        fields,
        predicted: Predicted {
            lstar: ladder(levels),
            low_lstar: ladder(levels),
            high_lstar: ladder(levels),
            expanded_u_lstar: vec![0.2; levels],
        },
        figures: Figures {
            step_lstar: 1.0,
            worst_error_lstar: 0.2,
            worst_error_steps: 0.2,
            ghost_lstar: 0.1,
            net_impulse_vs: 1.0,
            energy_mj: 1.0,
        },
    }
}

fn random_field(r: &mut Random, slot_most: u64) -> Field {
    let sign = if r.chance(30) { -1.0 } else { 1.0 };
    Field {
        select_v: sign * r.volts(4, 18),
        data_v: r.volts(1, 5),
        tick_us: [250, 500, 1000, 1500][r.below(4) as usize],
        slot_ticks: r.within(1, slot_most) as u32,
        guard_ticks: if r.chance(40) {
            0
        } else {
            r.within(1, 9) as u32
        },
        mirrored: r.chance(30),
    }
}
