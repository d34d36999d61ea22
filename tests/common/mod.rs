//! What several checks share.

pub mod catalogued;
pub mod ref1;
pub mod statics;
