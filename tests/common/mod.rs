//! What several checks share.

pub mod answers;
pub mod browser;
pub mod catalogued;
pub mod folder;
pub mod http;
pub mod laws;
pub mod misra1a;
pub mod program;
pub mod pulsed;
pub mod python;
pub mod ref1;
pub mod reference;
pub mod rig;
pub mod schema;
pub mod statics;
pub mod technologies;
pub mod typed;
