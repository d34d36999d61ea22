//! What is done with damaged input, by kind.

use std::ffi::OsString;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use joulestep::diagnostic::Refusal;
use joulestep::input::keys::InputError;
use joulestep::input::scenario::build::{Reductions, build_with};
use joulestep::input::scenario::resolve::read;
use joulestep::output::answer::Study as StudyFile;
use joulestep::output::report::{html, markdown};
use joulestep::output::result::{ResultFile, read_table};

use crate::corpus::{self, Files};
use crate::mutate::{self, Random};

/// Exit codes as `joulestep --help` has them, without those of processors; of signals that of Ctrl-C.
const CODES: [u8; 7] = [0, 1, 2, 3, 4, 5, INTERRUPTED];
const INTERRUPTED: u8 = 130;

/// How a case ended.
pub enum End {
    /// Taken as right.
    Accepted,
    /// Refused with words.
    Refused,
    /// Neither: what is wrong with it.
    Wrong(String),
}

/// A kind of input.
pub struct Target {
    /// Its name.
    pub name: &'static str,
    /// Whether it is tried when no target is named.
    pub usual: bool,
    /// What is damaged.
    base: fn() -> Vec<Vec<u8>>,
    /// Whether it is a text.
    text: bool,
    /// Whether a case may be work without end (a step of 1e-50 µs): it is asked to stop by Ctrl-C, and must.
    pub endless: bool,
    /// What is done with it.
    run: fn(&World, &[u8]) -> End,
}

/// All kinds.
pub const TARGETS: &[Target] = &[
    Target {
        name: "check",
        usual: true,
        base: || corpus::examples_with("[[component]]"),
        text: true,
        endless: false,
        run: check,
    },
    Target {
        name: "part",
        usual: true,
        base: || corpus::shipped_parts(),
        text: true,
        endless: false,
        run: part,
    },
    Target {
        name: "package",
        usual: true,
        base: || corpus::shipped_packages(),
        text: true,
        endless: false,
        run: package,
    },
    Target {
        name: "points",
        usual: true,
        base: || corpus::examples_with("[[curve]]"),
        text: true,
        endless: false,
        run: points,
    },
    Target { name: "plan", usual: true, base: plans, text: true, endless: false, run: plan },
    Target {
        name: "impedance",
        usual: true,
        base: || vec![IMPEDANCE.into()],
        text: true,
        endless: false,
        run: impedance,
    },
    Target { name: "result", usual: true, base: results, text: false, endless: false, run: result },
    Target { name: "journal", usual: true, base: journals, text: true, endless: false, run: journal },
    Target { name: "command", usual: true, base: || lines(), text: true, endless: false, run: command },
    Target { name: "run", usual: false, base: || vec![corpus::RL.into()], text: true, endless: true, run },
];

const IMPEDANCE: &str =
    "# s, K/W\n1e-6, 1e-3\n1e-5; 3.1e-3\n1e-4 0.01\n1e-3, 0.03\n1e-2, 0.08\n0.1, 0.2\n1, 0.4\n10, 0.41\n";

fn plans() -> Vec<Vec<u8>> {
    vec![corpus::PLAN.into(), corpus::OF_STUDY.into()]
}

fn results() -> Vec<Vec<u8>> {
    corpus::results().into_iter().filter(|bytes| bytes.starts_with(b"\x89HDF")).collect()
}

fn journals() -> Vec<Vec<u8>> {
    corpus::results().into_iter().filter(|bytes| !bytes.starts_with(b"\x89HDF")).collect()
}

/// What cases share.
pub struct World {
    /// A folder of the child's own.
    pub folder: PathBuf,
    files: Files,
    base: Vec<Vec<u8>>,
    kept: Vec<Vec<u8>>,
    reductions: Reductions,
}

impl World {
    /// Of a target.
    pub fn new(target: &Target, folder: &Path) -> Self {
        let mut files = corpus::examples();
        files.insert("rl.toml".into(), corpus::RL.into());
        if target.name == "command" {
            corpus::stock(folder);
        }
        let (base, kept) = ((target.base)(), corpus::kept(target.name).into_values().collect());
        Self { folder: folder.into(), files, base, kept, reductions: Reductions::default() }
    }

    /// The input of a case: what is kept as it is first, then damaged.
    pub fn input(&self, target: &Target, seed: u64, case: u64) -> Vec<u8> {
        if let Some(kept) = usize::try_from(case).ok().and_then(|k| self.kept.get(k)) {
            return kept.clone();
        }
        let mut random = Random::of(seed, case, target.name);
        let k = random.below(self.base.len() + self.kept.len());
        let base = self.base.get(k).or_else(|| self.kept.get(k - self.base.len()));
        let base = base.map_or(&[][..], |base| base);
        if target.text {
            mutate::text(base, &self.base, &mut random)
        } else {
            mutate::binary(base, &mut random)
        }
    }

    /// Carries out a case.
    pub fn carry(&self, target: &Target, input: &[u8]) -> End {
        (target.run)(self, input)
    }

    /// Opens files as a disk would: the damaged one, and the examples beside it.
    fn open<'a>(&'a self, input: &'a [u8]) -> impl Fn(&Path) -> io::Result<String> + 'a {
        let text =
            |bytes: &[u8]| String::from_utf8(bytes.to_vec()).map_err(|_| ErrorKind::InvalidData.into());
        move |path| match path == Path::new("x.toml") {
            true => text(input),
            false => self.files.get(path).ok_or(ErrorKind::NotFound.into()).and_then(|bytes| text(bytes)),
        }
    }
}

/// A refusal must have words, for people and for programs.
fn refused(refusal: &Refusal) -> End {
    let (text, json) = (refusal.text(), serde_json::to_string(&refusal.json()));
    match json {
        _ if refusal.diagnostics.is_empty() => End::Wrong("refused without a word".into()),
        Err(e) => End::Wrong(format!("no JSON: {e}")),
        Ok(_) if text.chars().any(|c| c.is_control() && c != '\n') => {
            End::Wrong("a control character in the text".into())
        }
        Ok(_) => End::Refused,
    }
}

fn describe(error: &InputError) -> End {
    match error {
        InputError::Unreadable(_) => End::Refused,
        InputError::Refused(refusal) => refused(refusal),
    }
}

fn check(world: &World, input: &[u8]) -> End {
    match read(Path::new("x.toml"), &world.open(input)) {
        Err(error) => describe(&error),
        Ok(scenario) => match build_with(&scenario, &world.reductions) {
            Err(refusal) => refused(&refusal),
            Ok(_) => End::Accepted,
        },
    }
}

fn part(world: &World, input: &[u8]) -> End {
    joulestep::input::parts::load("x.toml", &world.open(input))
        .map_or_else(|t| describe(&t), |_| End::Accepted)
}

fn points(world: &World, input: &[u8]) -> End {
    let path = Path::new("x.toml");
    joulestep::input::parts::points(path, &world.open(input)).map_or_else(|t| describe(&t), |_| End::Accepted)
}

fn package(world: &World, input: &[u8]) -> End {
    joulestep::input::package::read("x.toml", &world.open(input))
        .map_or_else(|t| describe(&t), |_| End::Accepted)
}

fn plan(world: &World, input: &[u8]) -> End {
    let read = joulestep::batch::variant::PlannedBatch::read(Path::new("x.toml"), &world.open(input));
    read.map_or_else(|wrong| describe(&wrong.error), |_| End::Accepted)
}

fn impedance(world: &World, input: &[u8]) -> End {
    let path = world.folder.join("points.csv");
    if let Err(e) = std::fs::write(&path, input) {
        return End::Wrong(e.to_string());
    }
    let words = ["joulestep", "impedance", "--points"].map(OsString::from);
    carried(words.into_iter().chain([path.into_os_string()]))
}

fn journal(world: &World, input: &[u8]) -> End {
    let path = world.folder.join("case.journal");
    if let Err(e) = std::fs::write(&path, input) {
        return End::Wrong(e.to_string());
    }
    joulestep::batch::journal::read(&path).map_or(End::Refused, |_| End::Accepted)
}

/// Everything that any reader asks of a file.
fn result(world: &World, input: &[u8]) -> End {
    let path = world.folder.join("case.h5");
    if let Err(e) = std::fs::write(&path, input) {
        return End::Wrong(e.to_string());
    }
    if let Ok(file) = ResultFile::open_beside_writer(&path) {
        let n = file.samples().min(5000);
        let _ = (file.events(), file.steps(), file.ledger(), file.summary(), file.time(0..n));
        for channel in file.channels() {
            let _ = file.window(&channel.name, 0..n);
            for level in file.overview_levels() {
                let blocks = file.overview_length(level).unwrap_or(0).min(5000);
                let _ = file.overview(level, &channel.name, 0..blocks);
            }
        }
        for channel in file.thermal_channels() {
            let _ = file.temperature(&channel.name, 0..file.thermal_samples().min(5000));
        }
    }
    let _ = (read_table(&path), StudyFile::read(&path));
    let Ok(report) = joulestep::batch::report::read(&path) else { return End::Refused };
    let _ = markdown(&report, &|name| name.to_string());
    html(&report).map_or(End::Refused, |_| End::Accepted)
}

/// Command lines, an argument a line; what blocks or takes long is left out.
fn lines() -> Vec<Vec<u8>> {
    let all = [
        "check\nrl.toml",
        "check\nrl.toml\n--json",
        "check\n--allow-outside\n.\nrl.toml",
        "parts\nlist\n--json",
        "parts\nshow\ncascode-700v-22m\n--temperature\n150 degC",
        "parts\ncompare\ncascode-700v-22m\n--csv",
        "schema\nplan",
        "completions\nbash",
        "--help",
        "--version",
        "batch\nplan.toml\n--count",
        "batch\nstudy-plan.toml\n--out\ns.h5\n--force\n--quiet\n--jobs\n1",
        "report\nrun.h5\n-o\nr.html",
        "run\nrl.toml\n--out\nr.h5\n--force\n--quiet\n--no-estimate",
        "impedance\n--points\nx.csv\n--terms\n3",
    ];
    all.map(|line| line.as_bytes().to_vec()).into()
}

fn command(world: &World, input: &[u8]) -> End {
    let text = String::from_utf8_lossy(input).replace('\0', "");
    let words: Vec<&str> = text.split('\n').filter(|w| !w.is_empty()).take(40).collect();
    // A page would be served until Ctrl-C, and paths stay within the folder.
    let harmless = |w: &&str| !w.contains('/') && !w.contains("..") && *w != "view" && !w.starts_with("-v");
    let words = words.into_iter().filter(harmless);
    if std::env::set_current_dir(&world.folder).is_err() {
        return End::Wrong("no folder".into());
    }
    carried(std::iter::once("joulestep").chain(words).map(Into::into))
}

fn run(world: &World, input: &[u8]) -> End {
    let (path, out) = (world.folder.join("case.toml"), world.folder.join("case.h5"));
    if let Err(e) = std::fs::write(&path, input) {
        return End::Wrong(e.to_string());
    }
    let mut words: Vec<std::ffi::OsString> =
        vec!["joulestep".into(), "run".into(), path.into(), "--out".into(), out.into()];
    words.extend(["--force", "--quiet", "--no-estimate"].map(Into::into));
    carried(words)
}

fn carried(words: impl IntoIterator<Item = std::ffi::OsString>) -> End {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let code = joulestep::run(words, &mut out, &mut err);
    match code {
        _ if !CODES.contains(&code) => End::Wrong(format!("exit code {code}")),
        2..=4 if out.is_empty() && err.is_empty() => End::Wrong(format!("exit code {code} without a word")),
        0 | 1 | 5 | INTERRUPTED => End::Accepted,
        _ => End::Refused,
    }
}
