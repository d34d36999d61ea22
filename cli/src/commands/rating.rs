//! `rating`: what current a part carries for how long on its heat path.

use std::io;
use std::path::Path;

use joulestep_models::package::Package;
use joulestep_models::rating::RatingTrouble;
use joulestep_models::rating::pulse::Shape;

use crate::args::RatingArgs;
use crate::commands::asked::{self, Lies, Refused, refused};
use crate::commands::refuse_in;
use crate::exit::{BAD_INPUT, Streams};
use crate::judge::{Level, exit_code};
use crate::package::read_with_text;
use crate::rating::{
    Asked, Heat, Spread, bare, csv, estimated, heat_of_part, heat_of_stack, json, picture, proven, ready,
    solve_stack, study, text, verdict, widths,
};

fn read_args(args: &RatingArgs) -> Result<(Asked, Option<Spread>, f64), Refused> {
    let [from, to] = [("--from", &args.from), ("--to", &args.to)]
        .map(|(option, text)| asked::quantity(option, text, "s", Lies::Positive));
    let (from, to) = (from?, to?);
    if to <= from {
        return Err((format!("--from {from} s, --to {to} s; expected --to above --from"), BAD_INPUT));
    }
    let share = asked::quantity("--resistance-spread", &args.resistance_spread, "1", Lies::NotNegative)?;
    if share >= 1.0 {
        return Err((format!("--resistance-spread: {share}; expected below 100 %"), BAD_INPUT));
    }
    let threshold = asked::quantity("--threshold-spread", &args.threshold_spread, "V", Lies::NotNegative)?;
    let shared = asked::quantity("--shared", &args.shared, "K/W", Lies::NotNegative)?;
    let total = asked::perhaps("--total", args.total.as_ref(), "A", Lies::Positive)?;
    let spread = args.parallel.zip(total).map(|(number, total)| Spread {
        number: usize::from(number),
        total,
        resistance: share,
        threshold,
        shared,
    });
    let current = asked::perhaps("--required-current", args.required_current.as_ref(), "A", Lies::Positive)?;
    let time = asked::perhaps("--required-time", args.required_time.as_ref(), "s", Lies::Positive)?;
    let asked = Asked {
        heatsink: asked::quantity("--heatsink", &args.heatsink, "degC", Lies::Anywhere)?,
        hottest: asked::perhaps("--hottest", args.hottest.as_ref(), "degC", Lies::Anywhere)?,
        gate_on: asked::perhaps("--gate-on", args.gate_on.as_ref(), "V", Lies::Anywhere)?,
        before: asked::quantity("--before", &args.before, "A", Lies::NotNegative)?,
        shape: Shape::of_key(&args.shape).unwrap_or(Shape::Square),
        widths: widths(from, to, usize::from(args.points)),
        faults: asked::list("--fault", &args.fault, "A", Lies::Positive)?,
        required_current: current,
        required_time: time,
    };
    let interface = asked::quantity("--interface", &args.interface, "K/W", Lies::NotNegative)?;
    asked::are_new(&args.output)?;
    if args.on.len() > 1 && args.on.len() != args.parts.len() {
        let what = format!(
            "--on is given {} times for {} parts; expected once for all, or once for each",
            args.on.len(),
            args.parts.len()
        );
        return Err((what, BAD_INPUT));
    }
    Ok((asked, spread, interface))
}

fn code(trouble: &RatingTrouble) -> Refused {
    (trouble.to_string(), BAD_INPUT)
}

/// Rates parts.
///
/// # Errors
/// When a stream cannot be written.
pub fn rating(args: &RatingArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let as_json = args.output.json;
    let (asked, spread, interface) = match read_args(args) {
        Ok(read) => read,
        Err(why) => return refused(&why, as_json, streams),
    };
    let (parts, mut sources) = match asked::parts(&args.parts, as_json, streams)? {
        Ok(parts) => parts,
        Err(code) => return Ok(code),
    };
    let mut stacks = Vec::new();
    for name in &args.on {
        match read_with_text(name, &streams.access.open()) {
            Ok((package, text)) => {
                sources.merge(text);
                let stack = Stack { name, heat: None, package };
                match solved(&stack, args, &asked, Level::STATED) {
                    Ok(heat) => stacks.push(Stack { heat: Some(heat), ..stack }),
                    Err(trouble) => return refused(&code(&trouble), as_json, streams),
                }
            }
            Err(trouble) => {
                return refuse_in("the package stack", &trouble, Path::new(name), as_json, streams);
            }
        }
    }
    let mut all = Vec::new();
    let mut shared = None;
    for (k, part) in parts.iter().enumerate() {
        let stack = stacks.get(k).or(stacks.first());
        let heat = |level: Level| match stack {
            None => heat_of_part(part, asked.heatsink, interface),
            Some(Stack { heat: Some(heat), .. }) if level == Level::STATED => Ok(heat.clone()),
            Some(stack) => solved(stack, args, &asked, level),
        };
        let spread = spread.as_ref().filter(|_| k == 0);
        let found = if args.prove {
            proven(part, &heat, &asked, spread)
        } else {
            let ready =
                heat(Level::STATED).and_then(|heat| ready(part, &heat, &asked, spread, Level::STATED));
            let rate = if args.no_estimate { bare } else { estimated };
            ready.and_then(|ready| rate(part, &ready, &asked, spread))
        };
        match found {
            Ok(mut answer) => {
                answer.rating.contradictions =
                    stack.map_or(Vec::new(), |stack| stack.package.contradicts(part));
                answer.rule(&asked);
                all.push(answer.rating);
                shared = shared.or(answer.parallel);
            }
            Err(trouble) => return refused(&code(&trouble), as_json, streams),
        }
    }
    let file = || study(&all, &asked, shared.as_ref(), &streams.command, sources.clone());
    if let Err(why) = asked::keep(&args.output, || picture(&all, &asked), file) {
        return refused(&why, as_json, streams);
    }
    if as_json {
        streams.json(&json(&all, &asked, shared.as_ref()))?;
    } else if args.output.csv {
        write!(streams.out, "{}", csv(&all))?;
    } else {
        write!(streams.out, "{}", text(&all, &asked, shared.as_ref()))?;
    }
    Ok(exit_code(None, verdict(&all, shared.as_ref())))
}

/// A package stack that parts are put on.
struct Stack<'a> {
    name: &'a str,
    /// As stated.
    heat: Option<Heat>,
    package: Package,
}

/// Most cells of a mesh, as the option has it.
const MOST_CELLS: usize = 2_000_000;

/// The heat path of a stack; at each finer level of twice the cells.
fn solved(stack: &Stack<'_>, args: &RatingArgs, asked: &Asked, level: Level) -> Result<Heat, RatingTrouble> {
    let cells = (args.cells as usize) << level.0.min(0).unsigned_abs();
    let cells = cells.min(MOST_CELLS);
    if args.no_estimate {
        return Ok(solve_stack(stack.name, &stack.package, cells)?.at(asked.heatsink));
    }
    heat_of_stack(stack.name, &stack.package, asked.heatsink, cells)
}
