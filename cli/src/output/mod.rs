//! What goes out: answers of studies and recorded runs as text, JSON, CSV, pictures, result files, reports and pages.
//! Nothing here knows a study.

// Where it goes.
pub mod files;
pub mod streams;
// Tables and figures.
pub mod plot;
pub mod table;
// The answer of a study, and what is printed of it.
pub mod answer;
pub mod print;
pub(crate) mod written;
// Result files.
pub mod result;
// The account of a run.
pub mod account;
// What is made of result files.
pub mod report;
pub mod view;
