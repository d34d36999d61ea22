//! What several checks share.

pub mod ref1;
pub mod reference;
pub mod statics;
