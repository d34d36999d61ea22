//! Circuits stepped by pieces: closed forms, the ledger, and the same circuit by the implicit method.

mod closed_forms;
mod steps;
