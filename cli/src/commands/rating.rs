//! `rating`: what current a part carries for how long on its heat path.

use std::io;
use std::path::Path;

use joulestep_models::rating::RatingTrouble;
use joulestep_models::rating::pulse::Shape;

use crate::args::RatingArgs;
use crate::commands::asked::{self, Lies, Refused, refused};
use crate::commands::refuse_in;
use crate::exit::{BAD_INPUT, DONE, FAILS, Streams};
use crate::judge::Verdict;
use crate::package::read_with_text;
use crate::rating::{
    Asked, Heat, Rating, Spread, csv, heat_of_part, heat_of_stack, json, parallel, picture, rate, ready,
    study, text, verdict, widths,
};
use crate::scenario::include::open;

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
    let asked = Asked {
        heatsink: asked::quantity("--heatsink", &args.heatsink, "degC", Lies::Anywhere)?,
        hottest: asked::perhaps("--hottest", args.hottest.as_ref(), "degC", Lies::Anywhere)?,
        gate_on: asked::perhaps("--gate-on", args.gate_on.as_ref(), "V", Lies::Anywhere)?,
        before: asked::quantity("--before", &args.before, "A", Lies::NotNegative)?,
        shape: Shape::of_key(&args.shape).unwrap_or(Shape::Square),
        widths: widths(from, to, usize::from(args.points)),
        faults: asked::list("--fault", &args.fault, "A", Lies::Positive)?,
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
        match read_with_text(name, &open) {
            Ok((package, text)) => {
                sources.merge(text);
                match heat_of_stack(name, &package, asked.heatsink, args.cells as usize) {
                    Ok(heat) => stacks.push((heat, package)),
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
    for (k, part) in parts.into_iter().enumerate() {
        let stack = stacks.get(k).or(stacks.first());
        let contradictions = stack.map_or(Vec::new(), |(_, package)| package.contradicts(&part));
        let heat: Result<Heat, RatingTrouble> = match stack {
            Some((heat, _)) => Ok(heat.clone()),
            None => heat_of_part(&part, asked.heatsink, interface),
        };
        let rated = heat.and_then(|heat| {
            let ready = ready(&part, &heat, &asked)?;
            if let (0, Some(spread)) = (k, &spread) {
                shared = Some(parallel(&part, &ready, &asked, spread)?);
            }
            rate(part, &ready, &asked).map(|rating| Rating { contradictions, ..rating })
        });
        match rated {
            Ok(rating) => all.push(rating),
            Err(trouble) => return refused(&code(&trouble), as_json, streams),
        }
    }
    let file = || study(&all, &asked, shared.as_ref(), &streams.command, sources.full_text());
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
    // Devices that get too hot are a failure; a doubt about the dies is told, and a rating is no verdict otherwise.
    let fails = verdict(&all, shared.as_ref()) == Some(Verdict::Fails);
    Ok(if fails { FAILS } else { DONE })
}
