//! JSON Schema by a validator that is not ours.

use boon::{Compiler, SchemaIndex, Schemas};
use serde_json::Value;

/// A schema that values are held against.
pub struct Validator {
    schemas: Schemas,
    index: SchemaIndex,
}

/// Compiles a schema; it is itself held against the schema of its dialect.
pub fn validator_for(schema: &Value) -> Result<Validator, String> {
    const PLACE: &str = "https://schema.invalid/it.json";
    let (mut compiler, mut schemas) = (Compiler::new(), Schemas::new());
    compiler.add_resource(PLACE, schema.clone()).map_err(|e| e.to_string())?;
    let index = compiler.compile(PLACE, &mut schemas).map_err(|e| format!("{e:#}"))?;
    Ok(Validator { schemas, index })
}

impl Validator {
    /// What does not hold, place by place; `Ok` where nothing.
    pub fn validate(&self, value: &Value) -> Result<(), String> {
        self.schemas.validate(value, self.index).map_err(|e| format!("{e:#}"))
    }
    /// Whether a value is as the schema says.
    pub fn is_valid(&self, value: &Value) -> bool {
        self.validate(value).is_ok()
    }
}
