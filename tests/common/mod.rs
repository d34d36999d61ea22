//! What several checks share.

pub mod catalogued;
pub mod ref1;
pub mod reference;
pub mod statics;
