//! `schema`: the JSON Schema of scenario files, or of package stacks.

use std::io;

use joulestep_models::devices::catalogue;

use crate::args::SchemaArgs;
use crate::exit::{DONE, Streams};
use crate::package::sections::PACKAGE;
use crate::scenario::schema;

/// Prints the schema.
///
/// # Errors
/// When a stream cannot be written.
pub fn schema(args: &SchemaArgs, streams: &mut Streams<'_>) -> io::Result<u8> {
    let schema = match args.package {
        true => schema::titled(&PACKAGE, "Joulestep package stack", catalogue()),
        false => schema::schema(catalogue()),
    };
    writeln!(streams.out, "{schema:#}")?;
    Ok(DONE)
}
