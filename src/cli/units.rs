//! Numbers for people; `report` shows the same ones.

pub(super) use crate::report::units::{barred, duration, si};
