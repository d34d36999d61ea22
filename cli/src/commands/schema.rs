//! `schema`: the JSON Schema of scenario files.

use std::io;

use joulestep_models::devices::catalogue;

use crate::exit::{DONE, Streams};
use crate::scenario::schema;

/// Prints the schema.
///
/// # Errors
/// When a stream cannot be written.
pub fn schema(streams: &mut Streams<'_>) -> io::Result<u8> {
    writeln!(streams.out, "{:#}", schema::schema(catalogue()))?;
    Ok(DONE)
}
