//! Apache Parquet: the table of a batch out, a list of values in.

use std::fs::File;
use std::io;
use std::path::Path;
use std::sync::Arc;

use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::record::Field;
use parquet::schema::types::Type;
use serde_json::{Map, Value, json};

use crate::batch::table::BatchResult;
use crate::output::files;
use crate::output::result::TableColumn;

/// Rows of a row group.
const GROUP: usize = 65_536;

fn schema(numbers: &[TableColumn<'_>], texts: &[(&str, Vec<String>)]) -> Result<Type, ParquetError> {
    let required = |name: &str, physical, logical| {
        let builder = Type::primitive_type_builder(name, physical).with_repetition(Repetition::REQUIRED);
        builder.with_logical_type(logical).build().map(Arc::new)
    };
    let mut fields = vec![required("variant", Physical::INT64, None)?];
    for column in numbers {
        fields.push(required(&column.name, Physical::DOUBLE, None)?);
    }
    for (name, _) in texts {
        fields.push(required(name, Physical::BYTE_ARRAY, Some(LogicalType::String))?);
    }
    Type::group_type_builder("batch").with_fields(fields).build()
}

fn write_column<T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, &mut Vec<u8>>,
    values: &[T::T],
) -> Result<(), ParquetError> {
    if let Some(mut column) = group.next_column()? {
        column.typed::<T>().write_batch(values, None, None)?;
        column.close()?;
    }
    Ok(())
}

/// Writes the table. Columns have the names of the HDF5 table; units, roles, the digest and the text of plan and
/// scenario stand in the key-value metadata of the file: `units` and `roles` are JSON objects by column. Numbers that
/// are none are NaN.
///
/// # Errors
/// Those of the file.
pub fn write(path: &Path, result: &BatchResult<'_>) -> Result<(), ParquetError> {
    let (study, columns, texts) = (result.study, result.columns(), result.texts());
    let object = |of: fn(&TableColumn<'_>) -> Value| {
        Value::Object(columns.iter().map(|c| (c.name.to_string(), of(c))).collect::<Map<_, _>>()).to_string()
    };
    let about = [
        ("title", study.plan.title.clone()),
        ("digest", study.digest.clone()),
        ("estimate", study.plan.estimate.words().to_string()),
        ("units", object(|c| json!(c.unit))),
        ("roles", object(|c| json!(c.role))),
        ("inputs", json!(study.inputs.files).to_string()),
    ];
    let about = about.map(|(key, value)| KeyValue::new(key.to_string(), value)).to_vec();
    let properties = WriterProperties::builder()
        .set_created_by(concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION")).to_string())
        .set_compression(Compression::SNAPPY)
        .set_key_value_metadata(Some(about))
        .build();
    let mut bytes = Vec::new();
    let mut writer =
        SerializedFileWriter::new(&mut bytes, Arc::new(schema(&columns, &texts)?), Arc::new(properties))?;
    let variants: Vec<i64> = result.rows.keys().map(|variant| *variant as i64).collect();
    for begin in (0..variants.len()).step_by(GROUP) {
        let here = begin..(begin + GROUP).min(variants.len());
        let mut group = writer.next_row_group()?;
        write_column::<Int64Type>(&mut group, &variants[here.clone()])?;
        for column in &columns {
            write_column::<DoubleType>(&mut group, &column.values[here.clone()])?;
        }
        for (_, all) in &texts {
            let values: Vec<ByteArray> = all[here.clone()].iter().map(|t| t.as_str().into()).collect();
            write_column::<ByteArrayType>(&mut group, &values)?;
        }
        group.close()?;
    }
    writer.close()?.file_metadata();
    Ok(files::write(path, &bytes)?)
}

/// Whether a path names a Parquet file.
pub fn is_parquet(path: &Path) -> bool {
    path.extension().is_some_and(|e| e.eq_ignore_ascii_case("parquet"))
}

/// A Parquet file as the CSV text of the same table: a list of a plan. Numbers keep their last bit.
///
/// # Errors
/// A file that cannot be read, or holds something else than flat columns of numbers and texts.
pub fn as_csv(path: &Path) -> io::Result<String> {
    let file = File::open(path)?;
    // A damaged file must end in a message, not in the middle of a library.
    let read = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| lines(file)));
    read.unwrap_or_else(|_| Err("it is damaged".into())).map_err(|what| {
        io::Error::new(io::ErrorKind::InvalidData, format!("no Parquet table of numbers and texts: {what}"))
    })
}

fn lines(file: File) -> Result<String, String> {
    let reader = SerializedFileReader::new(file).map_err(|e| e.to_string())?;
    let schema = reader.metadata().file_metadata().schema();
    let names: Vec<&str> = schema.get_fields().iter().map(|f| f.name()).collect();
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(&names).map_err(|e| e.to_string())?;
    for row in reader.get_row_iter(None).map_err(|e| e.to_string())? {
        let row = row.map_err(|e| e.to_string())?;
        let cells: Result<Vec<String>, String> =
            row.get_column_iter().map(|(name, field)| cell(name, field)).collect();
        writer.write_record(cells?).map_err(|e| e.to_string())?;
    }
    let bytes = writer.into_inner().map_err(|e| e.to_string())?;
    String::from_utf8(bytes).map_err(|e| e.to_string())
}

fn cell(name: &str, field: &Field) -> Result<String, String> {
    Ok(match field {
        Field::Null => String::new(),
        Field::Double(x) => format!("{x:?}"),
        Field::Float(x) => format!("{:?}", f64::from(*x)),
        Field::Str(text) => text.clone(),
        Field::Bool(_) | Field::Byte(_) | Field::Short(_) | Field::Int(_) | Field::Long(_) => {
            field.to_string()
        }
        Field::UByte(_) | Field::UShort(_) | Field::UInt(_) | Field::ULong(_) => field.to_string(),
        _ => return Err(format!("column `{name}` holds neither numbers nor texts")),
    })
}
