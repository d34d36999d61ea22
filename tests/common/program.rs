//! The program, run as a user runs it.

use std::process::Command;

use serde_json::Value;

/// What a run of the program left.
pub struct Done {
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// Runs the program with arguments and environment.
pub fn joulestep_with(args: &[&str], environment: &[(&str, &str)]) -> Done {
    let mut command = Command::new(env!("CARGO_BIN_EXE_joulestep"));
    // What was kept before is no result of this program.
    command.current_dir(env!("CARGO_MANIFEST_DIR")).args(args).env("JOULESTEP_CACHE", "off");
    command.envs(environment.iter().copied());
    let done = command.output().expect("the program runs");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    Done { code: done.status.code().expect("an exit code"), out: text(done.stdout), err: text(done.stderr) }
}

/// Runs the program.
pub fn joulestep(args: &[&str]) -> Done {
    joulestep_with(args, &[])
}

/// The words of a command line; single quotes keep blanks in a word.
pub fn words(line: &str) -> Vec<&str> {
    let pieces = line.split('\'').enumerate();
    pieces
        .flat_map(|(k, piece)| if k % 2 == 1 { vec![piece] } else { piece.split_whitespace().collect() })
        .collect()
}

/// What the program tells as JSON; it must come to its end, whatever its verdict.
pub fn describe(args: &[&str]) -> Value {
    let done = joulestep(args);
    assert!([0, 1, 5].contains(&done.code), "{}{}", done.out, done.err);
    serde_json::from_str(&done.out).expect("JSON")
}

/// The ferry's breaker without its limits on what happens, for runs that end before it has.
pub fn without_event_limits(ferry: &str) -> String {
    let (head, rest) = ferry.split_once("# What must happen").expect("limits on what happens");
    let (_, tail) = rest.split_once("# One diode").expect("the waiver after them");
    format!("{head}# One diode{tail}")
}
