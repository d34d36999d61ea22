//! `schema`: the JSON Schema of the files that the program reads.

use std::io;

use joulestep_models::devices::catalogue;

use crate::batch::sections::plan;
use crate::command::args::{SchemaArgs, SchemaOf};
use crate::exit::DONE;
use crate::input::package::sections::PACKAGE;
use crate::input::parts::sections::{PART, POINTS};
use crate::input::scenario::schema;
use crate::output::streams::Streams;

/// Prints the schema.
///
/// # Errors
/// When a stream cannot be written.
pub fn schema(args: &SchemaArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let schema = match args.of {
        SchemaOf::Scenario => schema::schema(catalogue()),
        SchemaOf::Part => schema::titled(&PART, "Joulestep part", catalogue()),
        SchemaOf::Package => schema::titled(&PACKAGE, "Joulestep package", catalogue()),
        SchemaOf::Plan => schema::titled(plan(), "Joulestep plan of a batch", catalogue()),
        SchemaOf::Points => schema::titled(&POINTS, "Joulestep points of a data sheet", catalogue()),
    };
    writeln!(streams.out, "{schema:#}")?;
    Ok(DONE)
}
