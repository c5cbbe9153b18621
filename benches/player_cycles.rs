//! How many cycles the C player takes between two ticks on a Cortex-M0+: instructions as the emulator executes them, each
//! with the cycles of the core's manual.
//!
//! `cargo bench --bench player_cycles`; needs arm-none-eabi-gcc and qemu-system-arm.
//!
//! QEMU logs every instruction it executes (`-singlestep -d exec`); the cycles of each are those of the table in the ARM
//! Cortex-M0+ Technical Reference Manual (DDI 0484), chapter 3.3 (from memory): 1, but loads and stores 2, taken branches 2,
//! BL 3, BX and BLX 2, PUSH and POP 1 + registers (POP with PC 3 + registers), MULS 32 where the slow multiplier is built in.
//! Memory without wait states; what the row and tick functions take themselves is not counted.

#[path = "../tests/emit_bench/mod.rs"]
mod emit_bench;

use emit_bench::{Play, bench_folder, build_for_m0, emulator, has, output, shipped};
use greyloom::emit::{Built, Layout, TableOptions};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::Command;

const CLOCK_HZ: f64 = 64e6;

fn main() {
    if !(has("arm-none-eabi-gcc", "cycles") && has("qemu-system-arm", "cycles")) {
        return;
    }
    let mut set = shipped();
    // What happens in a tick is the same in every row, and in every tick of a stroke or a rest.
    set.panel.rows = 3;
    for band in &mut set.bands {
        band.erase.strokes.iter_mut().for_each(|s| s.ms = 1.0);
        band.erase.rest_ms = 1.0;
    }
    let built = Built::of(&set, &TableOptions::default()).expect("tables");
    println!(
        "{} columns, {} levels; cycles between the end of one tick function and the begin of the next: median, most, µs at 64 MHz\n\n  \
         table, picture     ticks  first             in a slot         with a row's load      others, balance too",
        set.panel.columns, set.levels
    );
    for layout in [Layout::Plain, Layout::Packed] {
        for (name, seed) in [("all dark", 0), ("random", 5)] {
            let play = Play {
                seed,
                temperature_16: 160,
                balance: true,
                fresh: true,
            };
            let folder = bench_folder(&set, &built, layout, &[play], 0);
            let program = build_for_m0(folder.path(), "bench.c", &["-DBENCH_QUIET"]);
            report(
                &format!("{layout:?}, {name}").to_lowercase(),
                &gaps(folder.path(), &program),
            );
        }
    }
}

/// The player's work before one tick.
#[derive(Default)]
struct Gap {
    cycles: u64,
    loads_a_row: bool,
    /// Nothing ran but what every tick of a slot runs.
    in_a_slot: bool,
}

fn report(name: &str, gaps: &[Gap]) {
    let sorted = |of: &dyn Fn(&Gap) -> bool| {
        let mut cycles: Vec<u64> = gaps
            .iter()
            .skip(1)
            .filter(|g| of(g))
            .map(|g| g.cycles)
            .collect();
        cycles.sort_unstable();
        cycles
    };
    let told = |cycles: &[u64]| {
        let most = cycles.last().copied().unwrap_or(0);
        let middle = cycles.get(cycles.len() / 2).copied().unwrap_or(0);
        format!(
            "{middle:>5} {most:>5} {:>6.1}",
            1e6 * most as f64 / CLOCK_HZ
        )
    };
    println!(
        "  {name:<17} {:>6} {:>6}   {}   {}   {}",
        gaps.len(),
        gaps.first().map_or(0, |g| g.cycles),
        told(&sorted(&|g| g.in_a_slot)),
        told(&sorted(&|g| g.loads_a_row)),
        told(&sorted(&|g| !g.in_a_slot && !g.loads_a_row)),
    );
}

struct Instruction {
    name: String,
    operands: String,
    function: String,
}

/// The program's instructions by address.
fn listing(program: &Path) -> BTreeMap<u32, Instruction> {
    let text = output(
        Command::new("arm-none-eabi-objdump")
            .args(["-d", "--no-show-raw-insn"])
            .arg(program),
    );
    let text = String::from_utf8(text).expect("text");
    let (mut all, mut function) = (BTreeMap::new(), String::new());
    for line in text.lines() {
        if let Some((_, name)) = line.strip_suffix(">:").and_then(|l| l.split_once('<')) {
            function = name.to_owned();
        } else if let Some((address, rest)) = line.trim_start().split_once(":\t") {
            let (name, operands) = rest.split_once('\t').unwrap_or((rest, ""));
            let instruction = Instruction {
                name: name
                    .trim()
                    .trim_end_matches(".n")
                    .trim_end_matches(".w")
                    .to_owned(),
                operands: operands
                    .split(['@', ';'])
                    .next()
                    .unwrap_or("")
                    .trim()
                    .to_owned(),
                function: function.clone(),
            };
            all.insert(
                u32::from_str_radix(address, 16).expect("an address"),
                instruction,
            );
        }
    }
    all
}

/// Runs the program and adds up the player's cycles between ticks.
fn gaps(folder: &Path, program: &Path) -> Vec<Gap> {
    let listing = listing(program);
    let symbols =
        String::from_utf8(output(Command::new("arm-none-eabi-nm").arg(program))).expect("text");
    let players: BTreeSet<&str> = symbols
        .lines()
        .filter_map(|l| l.split_whitespace().nth(2))
        .filter(|n| is_players(folder, n))
        .collect();
    let log = folder.join("trace.log");
    output(
        emulator(program)
            .args(["-singlestep", "-d", "exec,nochain", "-D"])
            .arg(&log),
    );
    let trace = BufReader::new(std::fs::File::open(log).expect("a trace"));
    let addresses = trace.lines().map_while(Result::ok).filter_map(|line| {
        let counter = line.split('/').nth(1)?;
        u32::from_str_radix(counter, 16).ok()
    });
    let fresh = || Gap {
        in_a_slot: true,
        ..Gap::default()
    };
    let (mut gaps, mut gap, mut outside) = (Vec::new(), fresh(), true);
    let mut addresses = addresses.peekable();
    while let Some(address) = addresses.next() {
        let Some(instruction) = listing.get(&address) else {
            continue;
        };
        let function = instruction.function.as_str();
        if players.contains(function) {
            outside = false;
            gap.in_a_slot &= function == "slot";
        } else if function == "tick" || function == "row_levels" {
            if function == "tick" && !outside {
                gaps.push(std::mem::replace(&mut gap, fresh()));
            }
            gap.loads_a_row |= function == "row_levels";
            outside = true;
        }
        if !outside {
            let next = addresses.peek().copied().unwrap_or(0);
            gap.cycles += cost(instruction, next != address + 2 && next != address + 4);
        }
    }
    gaps
}

/// Functions of player.o.
fn is_players(folder: &Path, name: &str) -> bool {
    let plain = name.split('.').next().unwrap_or(name);
    ["player.c", "read.h"].iter().any(|file| {
        let source = std::fs::read_to_string(folder.join(file)).expect("a source");
        let begins =
            |l: &str| !l.starts_with([' ', '#', '/', '*']) && l.contains(&format!("{plain}("));
        source.lines().any(begins)
    })
}

fn cost(instruction: &Instruction, jumped: bool) -> u64 {
    let registers = || registers(&instruction.operands);
    match instruction.name.as_str() {
        "push" => 1 + registers(),
        "pop" if instruction.operands.contains("pc") => 3 + registers(),
        "pop" | "ldmia" | "stmia" => 1 + registers(),
        "bl" => 3,
        "bx" | "blx" => 2,
        "muls" => 32,
        name if name.starts_with("ldr") || name.starts_with("str") => 2,
        name if name.starts_with('b') && !name.starts_with("bic") && jumped => 2,
        _ if jumped => 2,
        _ => 1,
    }
}

/// How many registers a list such as `{r4, r5-r7, lr}` names.
fn registers(list: &str) -> u64 {
    let inner = list
        .split('{')
        .nth(1)
        .and_then(|l| l.split('}').next())
        .unwrap_or("");
    let number = |r: &str| r.trim().trim_start_matches('r').parse::<u64>().ok();
    inner
        .split(',')
        .map(|part| match part.split_once('-') {
            Some((a, b)) => number(b).unwrap_or(0) + 1 - number(a).unwrap_or(0),
            None => 1,
        })
        .sum()
}
