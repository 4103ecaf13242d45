//! Values of a case file by dotted path: `temperature`, `well.n-well.falloff`,
//! `constants.shockley-read-hall.tau_n0`, `slide.spacing`. Sweeps and rules edit the
//! text of a case through this; everything else in the text stays as it is.

use toml_edit::{DocumentMut, Item, Value};

use super::constants::Dim;
use super::keys::{Absent, Bounds, Kind};
use super::path_resolve::{Leaf, Place, Step, resolve};
use super::{slide, units};

/// Why a path cannot be read or set.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{text}; {help}")]
pub struct PathError {
    /// Stable word: `no-such-path`, `not-a-value`, `ambiguous-path`, `key-not-of-kind`,
    /// `not-toml`, `wrong-unit`, `bad-slide`.
    pub code: &'static str,
    /// What is wrong.
    pub text: String,
    /// What would be right.
    pub help: String,
}

impl PathError {
    pub fn new(code: &'static str, text: impl Into<String>, help: impl Into<String>) -> PathError {
        PathError { code, text: text.into(), help: help.into() }
    }
}

/// A numeric key of a case.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    pub dim: Dim,
    /// What the key may be, in the plain unit of `dim`.
    pub bounds: Bounds,
    /// What the case says, else the key's default; in the plain unit of `dim`.
    pub value: Option<f64>,
}

/// The case `text` with `value` at `path`; the rest stays as it is, comments too.
///
/// `value` is a TOML value (`1.2`, `"1.2 um"`, `["25 degC"]`); what is none is taken as
/// text (`1.2 um`). Missing keys and tables on the way are added; list entries are not.
/// A list is entered by `name`, by index from 0, or, for experiments, by a `kind` that
/// occurs once. `slide.NAME` moves the layout by `value` (the module `slide`).
///
/// # Errors
/// Text that is no TOML; a path that the case file does not have, with what is near.
/// Whether the value itself makes sense is said by reading the case.
pub fn set_path(text: &str, path: &str, value: &str) -> Result<String, PathError> {
    let mut doc = parse(text)?;
    let Place { steps, leaf } = resolve(&doc, path)?;
    let mut new = value_of(value);
    if let Leaf::Slide { right_of } = leaf {
        let by = number(&new, Dim::Length, path)?;
        return slide::moved(text, right_of, by);
    }
    let mut at = doc.as_item_mut();
    for step in &steps {
        at = match step {
            Step::Key(key) => {
                if !at.is_none() && !at.is_table_like() {
                    // A word in place of a table: `plate = "n+ poly"`.
                    *at = Item::None;
                }
                at.get_mut(key.as_str())
            }
            Step::Entry(index) => at.get_mut(*index),
        }
        .ok_or_else(|| {
            PathError::new(
                "no-such-path",
                format!("`{path}` cannot be reached in this case"),
                "a table or list on the way is written as something else",
            )
        })?;
    }
    if let Some(old) = at.as_value() {
        *new.decor_mut() = old.decor().clone();
    }
    *at = Item::Value(new);
    Ok(doc.to_string())
}

/// The value at `path` as the case writes it; `None` if the case leaves it out.
/// For `slide.NAME` it is `"0.0"`: the drawn layout.
///
/// # Errors
/// As for [`set_path`].
pub fn get_path(text: &str, path: &str) -> Result<Option<String>, PathError> {
    let doc = parse(text)?;
    let place = resolve(&doc, path)?;
    if let Leaf::Slide { .. } = place.leaf {
        return Ok(Some("0.0".to_string()));
    }
    let Some(item) = item_at(&doc, &place.steps).filter(|i| !i.is_none()) else {
        return Ok(None);
    };
    Ok(Some(match item.as_value() {
        // Without the blanks and the comment around it.
        Some(value) => value.clone().decorated("", "").to_string(),
        None => item.to_string().trim().to_string(),
    }))
}

/// Unit, bounds and value of the number at `path`; `None` if the key holds no number.
///
/// # Errors
/// As for [`set_path`]; a number whose unit does not fit.
pub fn quantity_at(text: &str, path: &str) -> Result<Option<Quantity>, PathError> {
    let doc = parse(text)?;
    let place = resolve(&doc, path)?;
    let (dim, bounds, default) = match place.leaf {
        Leaf::Slide { .. } => {
            let bounds = Bounds::between(-1e6, 1e6);
            return Ok(Some(Quantity { dim: Dim::Length, bounds, value: Some(0.0) }));
        }
        Leaf::Number(dim, bounds) => (dim, bounds, None),
        Leaf::Constant(c) => (c.dim, Bounds::between(c.bounds.0, c.bounds.1), Some(c.default)),
        Leaf::Word => return Ok(None),
        Leaf::Key(key) => {
            let default = match key.absent {
                Absent::Number(v) => Some(v),
                _ => None,
            };
            match key.kind {
                Kind::Quantity(dim, bounds) | Kind::QuantityOrTable(dim, bounds, _) => {
                    (dim, bounds, default)
                }
                Kind::Count(low, high) => {
                    (Dim::Number, Bounds::between(low as f64, high as f64), default)
                }
                _ => return Ok(None),
            }
        }
    };
    let value = match item_at(&doc, &place.steps).and_then(Item::as_value) {
        Some(v) if !v.is_inline_table() => Some(number(v, dim, path)?),
        Some(_) => None,
        None => default,
    };
    Ok(Some(Quantity { dim, bounds, value }))
}

/// A value of a sweep or rule file in the plain unit of `dim`: `1.2` or `"1.2 um"`.
pub(super) fn number(value: &Value, dim: Dim, path: &str) -> Result<f64, PathError> {
    let wrong = |text: String, help: String| PathError::new("wrong-unit", text, help);
    match value {
        Value::Float(f) => Ok(*f.value()),
        Value::Integer(i) => Ok(*i.value() as f64),
        Value::String(s) => {
            units::parse(s.value(), dim).map_err(|p| wrong(format!("`{path}`: {}", p.text), p.help))
        }
        _ => Err(wrong(
            format!("`{path}`: {} is wanted", dim.name()),
            format!("write a number in {} or \"{}\"", dim.unit(), dim.example()),
        )),
    }
    .and_then(|v| {
        if v.is_finite() {
            Ok(v)
        } else {
            Err(wrong(format!("`{path}` must be finite"), format!("e.g. {}", dim.example())))
        }
    })
}

fn item_at<'d>(doc: &'d DocumentMut, steps: &[Step]) -> Option<&'d Item> {
    steps.iter().try_fold(doc.as_item(), |at, step| match step {
        Step::Key(key) => at.get(key.as_str()),
        Step::Entry(index) => at.get(*index),
    })
}

/// TOML text as a document that can be edited.
pub(super) fn parse(text: &str) -> Result<DocumentMut, PathError> {
    text.parse::<DocumentMut>().map_err(|e| {
        PathError::new(
            "not-toml",
            format!("the case is not TOML: {}", e.message()),
            "`holdpoint check` shows the line",
        )
    })
}

fn value_of(text: &str) -> Value {
    let mut value = text.trim().parse::<Value>().unwrap_or_else(|_| Value::from(text.trim()));
    value.decor_mut().clear();
    value
}
