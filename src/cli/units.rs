//! Numbers for people; `report` shows the same ones.

pub(super) use crate::report::shown_unit;
pub(super) use crate::report::units::{barred, duration, si};
