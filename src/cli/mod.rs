//! The command line: one file a verb; prints, never computes.

mod calc;
mod check;
mod common;
mod compare;
mod export;
mod good;
mod guard;
mod handover;
mod history;
mod lot;
mod off;
mod on_bench;
mod operator;
mod profile;
mod rehearse;
mod report;
mod resume;
mod run;
mod runs;
mod standin;
mod typed;
mod verify;

use crate::runner::Exit;
use clap::{Parser, Subcommand};

/// Exit codes, below the help of every command.
fn codes() -> String {
    format!("Exit codes:\n{}", Exit::table())
}

#[derive(Parser)]
#[command(name = "rampart", version, about = "Powers a unit under limits, logs what it draws, catches starts that fail, measures leakage over voltage, and leaves a record.", after_help = codes())]
struct Arguments {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Subcommand)]
enum Verb {
    /// Try a plan on stand-in instruments and a made-up unit: hours in seconds
    #[command(
        after_help = "Example: rampart rehearse scripts/frost-alarm.toml --seed 7\n\nThe exit status judges the plan, not the made-up unit: 0 when the plan could be carried out."
    )]
    Rehearse(rehearse::Arguments),
    /// Run a plan on the bench
    #[command(after_help = format!("Example: rampart run scripts/frost-alarm.toml --bench bench.toml\n\n{}", codes()))]
    Run(run::Arguments),
    /// Go on with a run that was cut short, in the same record
    #[command(
        after_help = format!("Example: rampart resume last\n\nStages that were carried out are not done again. In the stage that was cut, a log goes on for the time that is left, a start stage with the next start (the one in hand stays void), a sweep with the next voltage; a ramp and a question begin again.\n\n{}", codes())
    )]
    Resume(resume::Arguments),
    /// Say everything that can be known before power: mistakes, time, energy, size, commands
    #[command(
        after_help = "Examples: rampart check scripts/frost-alarm.toml --bench bench.toml --commands\n          rampart check --profile profiles/mine.toml"
    )]
    Check(check::Arguments),
    /// Calculate by hand, with the working shown: formula, values, source
    #[command(
        after_help = "Example: rampart calc discharge --capacitance \"1 mF\" --from \"60 V\" --to \"2 V\" --resistance \"1 kohm\"\n\nEvery value is written with its unit. Exit code 0: calculated; 1: outside the limit that was given; 2: a value is missing or cannot be; 5: not decidable."
    )]
    Calc(calc::Arguments),
    /// Switch the bench's output off, now, and verify it
    #[command(
        after_help = "Example: rampart off --bench bench.toml\n\nExit code 0: verified off; 6: not verified, go and look. This is software: it does not replace a mains switch within reach."
    )]
    Off(off::Arguments),
    /// The second process of a run
    #[command(hide = true)]
    Guard,
    /// Stand-in instruments on TCP ports and serial terminals
    #[command(
        after_help = "Example: rampart standin --bench scripts/bench-rehearsal.toml --unit scripts/frost-alarm.unit.toml --write bench.toml\n\nRuns until Ctrl-C. Typed there, the name of a part, or `unit`, connects it, as a hand at the bench would; `?` asks for the state."
    )]
    Standin(standin::Arguments),
    /// List the runs that have been recorded
    #[command(
        after_help = "Example: rampart runs --unit \"frost alarm\" --outcome anomaly --since 2026-11\n\nAn index beside the records, logs/index.sqlite, makes the answer quick. It is brought up to date by itself, can be deleted at any time, and is made anew with --rebuild."
    )]
    Runs(runs::Arguments),
    /// Write the record that goes with a lot or a repair: one sheet of A4 and an annex
    #[command(
        after_help = "Example: rampart handover last --before 20261125T1504 --by \"A. Bauer\" --for \"Hillside orchard\"\n\nWho tested what, when, with which instruments and their calibration, by which rule, with which results and uncertainties, and the record's fingerprint. It is a record of tests, and not the document of an accredited laboratory."
    )]
    Handover(handover::Arguments),
    /// Show what many runs say of one unit, part or kind of part, over their dates
    #[command(
        after_help = "Example: rampart history --part \"solid tantalum\" --at \"6 V\" --out tantalums.html\n\nFailing starts with their intervals, leakage at a voltage, currents, as tables here and as plots in a page. Only runs on the bench, unless --kind rehearsal asks for the others."
    )]
    History(history::Arguments),
    /// Write the report of a run again
    #[command(
        after_help = "Example: rampart report last\n\nRUN is a folder's name, its unambiguous beginning, a path, or `last`."
    )]
    Report(report::Arguments),
    /// Write a record for other programs: CSV, JSON Lines, Parquet, JUnit XML; or its report for paper
    #[command(
        after_help = "Example: rampart export last --format csv --out tables\n\nOne table a kind of thing, one file a table; the unit is the end of a column's name (current_A), a moment is UTC with its offset, what is missing is empty (null), and why stands in a column `flag`. In CSV a text that begins with = + - @ ' a tab or a line break has a ' in front, so that no spreadsheet computes it; --plain-texts leaves it as it is.\n\nRUN is a folder's name, its unambiguous beginning, a path, or `last`."
    )]
    Export(export::Arguments),
    /// Compare two runs, as before and after a repair, or a run with a good unit
    #[command(
        after_help = "Example: rampart compare 20261125T150426 last\n         rampart compare last frost-alarm\n\nConditions that differ come first: what was measured under other ones proves nothing. Of two runs the first is before a repair and the second after it.\n\nExit code 0: it is proved that fewer starts fail, or nothing differs that counts; 1: the second fails more often or leaks more, or the run differs from the good unit; 2: a run cannot be found or read; 5: not decidable: too few starts, or conditions that differ in what matters."
    )]
    Compare(compare::Arguments),
    /// Store a good unit from runs, for plans and for `compare`
    #[command(
        after_help = "Example: rampart good frost-alarm 20261125T150426 20261126T081200 --unit A17\n\nThe records are copied into the folder good below that of the runs. At least 3 units with 10 good starts each say how far good ones are apart. A plan names it as good = \"frost-alarm\" in a ramp, log, start or leakage stage."
    )]
    Good(good::Arguments),
    /// Check that a record is as it was written
    #[command(
        after_help = "Example: rampart verify last --fingerprint 3f2a99c1\n\nExit code 0: every row is as it was written; 1: it is not, and what differs is named. It covers run.sqlite, and neither traffic.log nor the report."
    )]
    Verify(verify::Arguments),
}

/// Parses the command line, does what it says, and returns the exit code.
pub fn main() -> u8 {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version are no errors; where even this cannot be printed, nobody listens.
            error.print().unwrap_or_default();
            return if error.use_stderr() { Exit::Wrong.code() } else { Exit::Within.code() };
        }
    };
    let level = std::env::var("RAMPART_LOG").ok().and_then(|word| word.parse().ok()).unwrap_or(tracing::Level::WARN);
    tracing_subscriber::fmt().with_max_level(level).with_writer(std::io::stderr).log_internal_errors(false).without_time().init();
    let exit = match arguments.verb {
        Verb::Rehearse(a) => rehearse::main(&a),
        Verb::Run(a) => run::main(&a),
        Verb::Resume(a) => resume::main(&a),
        Verb::Check(a) => check::main(&a),
        Verb::Calc(a) => calc::main(&a),
        Verb::Off(a) => off::main(&a),
        Verb::Guard => guard::main(),
        Verb::Standin(a) => standin::main(&a),
        Verb::Runs(a) => runs::main(&a),
        Verb::Export(a) => export::main(&a),
        Verb::Handover(a) => handover::main(&a),
        Verb::History(a) => history::main(&a),
        Verb::Report(a) => report::main(&a),
        Verb::Compare(a) => compare::main(&a),
        Verb::Good(a) => good::main(&a),
        Verb::Verify(a) => verify::main(&a),
    };
    exit.code()
}
