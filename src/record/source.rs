//! Groups and columns of a result file that is read: everything is checked before it is
//! believed.

use std::collections::BTreeMap;
use std::path::Path;

use hdf5::types::{TypeDescriptor, VarLenUnicode};
use hdf5::{Dataset, Group, H5Type};

use super::RecordError;

type Got<T> = Result<T, RecordError>;

/// No list in a result is longer than this; a foreign file must not make us ask for
/// memory without end.
pub(super) const MOST: usize = 50_000_000;

/// A group of the file.
pub(super) struct Shelf<'p> {
    pub(super) file: &'p Path,
    group: Group,
    path: String,
    /// Names of what is in the group. Asked for once and with the error kept: a library
    /// call that asks for one name answers "not there" for a damaged group.
    members: Vec<String>,
    /// Text attributes.
    texts: BTreeMap<String, String>,
}

impl<'p> Shelf<'p> {
    /// The group, with its names and texts.
    pub(super) fn open(file: &'p Path, group: Group, path: String) -> Got<Shelf<'p>> {
        let mut shelf = Shelf { file, group, path, members: Vec::new(), texts: BTreeMap::new() };
        let fail = |e: hdf5::Error| shelf.damaged("", e.to_string());
        let members = shelf.group.member_names().map_err(fail)?;
        let mut texts = BTreeMap::new();
        for name in shelf.group.attr_names().map_err(fail)? {
            let attr = shelf.group.attr(&name).map_err(fail)?;
            let kind = attr.dtype().and_then(|t| t.to_descriptor());
            if matches!(kind, Ok(TypeDescriptor::VarLenUnicode)) {
                let text = attr.read_scalar::<VarLenUnicode>().map_err(fail)?;
                texts.insert(name, text.as_str().to_string());
            }
        }
        (shelf.members, shelf.texts) = (members, texts);
        Ok(shelf)
    }

    pub(super) fn damaged(&self, name: &str, detail: impl Into<String>) -> RecordError {
        RecordError::Damaged {
            path: self.file.to_path_buf(),
            at: format!("{}/{name}", self.path),
            detail: detail.into(),
        }
    }

    /// A group in this one.
    pub(super) fn group(&self, name: &str) -> Got<Shelf<'p>> {
        let group = self.group.group(name).map_err(|e| self.damaged(name, e.to_string()))?;
        Shelf::open(self.file, group, format!("{}/{name}", self.path))
    }

    /// True if there is an object of this name.
    pub(super) fn has(&self, name: &str) -> bool {
        self.members.iter().any(|m| m == name)
    }

    /// A text attribute, if there is one of this name.
    pub(super) fn maybe_text(&self, name: &str) -> Option<&str> {
        self.texts.get(name).map(String::as_str)
    }

    /// A text attribute.
    pub(super) fn text(&self, name: &str) -> Got<&str> {
        self.maybe_text(name).ok_or_else(|| self.damaged(name, "this text attribute is missing"))
    }

    /// A number attribute.
    pub(super) fn number<T: H5Type + Copy>(&self, name: &str) -> Got<T> {
        match self.vector::<T>(name, 1)?.first() {
            Some(v) => Ok(*v),
            None => Err(self.damaged(name, "no value")),
        }
    }

    /// True if there is an attribute of this name.
    pub(super) fn has_number(&self, name: &str) -> bool {
        self.group.attr(name).is_ok()
    }

    /// An attribute with `len` numbers.
    pub(super) fn vector<T: H5Type>(&self, name: &str, len: usize) -> Got<Vec<T>> {
        let attr = self.group.attr(name).map_err(|e| self.damaged(name, e.to_string()))?;
        if attr.size() != len {
            return Err(self.damaged(name, format!("{} values, {len} expected", attr.size())));
        }
        attr.read_raw().map_err(|e| self.damaged(name, e.to_string()))
    }

    /// An attribute with 1 to `most` numbers.
    pub(super) fn all_of<T: H5Type>(&self, name: &str, most: usize) -> Got<Vec<T>> {
        let attr = self.group.attr(name).map_err(|e| self.damaged(name, e.to_string()))?;
        if attr.size() == 0 || attr.size() > most {
            return Err(self.damaged(name, format!("{} values", attr.size())));
        }
        attr.read_raw().map_err(|e| self.damaged(name, e.to_string()))
    }

    /// A count in an attribute, as a length.
    pub(super) fn count(&self, name: &str) -> Got<usize> {
        let count: u64 = self.number(name)?;
        match usize::try_from(count) {
            Ok(n) if n <= MOST => Ok(n),
            _ => Err(self.damaged(name, format!("{count} cannot be"))),
        }
    }

    /// A flag in an attribute.
    pub(super) fn flag(&self, name: &str) -> Got<bool> {
        match self.number::<u8>(name)? {
            0 => Ok(false),
            1 => Ok(true),
            v => Err(self.damaged(name, format!("{v} where 0 or 1 is expected"))),
        }
    }

    fn dataset(&self, name: &str) -> Got<Dataset> {
        self.group.dataset(name).map_err(|e| self.damaged(name, e.to_string()))
    }

    /// A single value.
    pub(super) fn scalar(&self, name: &str) -> Got<f64> {
        match self.column::<f64>(name, &[])?.first() {
            Some(v) => Ok(*v),
            None => Err(self.damaged(name, "no value")),
        }
    }

    /// Values of a given shape, the last axis fastest.
    pub(super) fn column<T: H5Type>(&self, name: &str, shape: &[usize]) -> Got<Vec<T>> {
        let data = self.dataset(name)?;
        let found = data.shape();
        if found != shape {
            return Err(self.damaged(name, format!("shape {found:?}, {shape:?} expected")));
        }
        data.read_raw().map_err(|e| self.damaged(name, e.to_string()))
    }

    /// A list of unknown length; empty if absent.
    pub(super) fn list<T: H5Type>(&self, name: &str) -> Got<Vec<T>> {
        if !self.has(name) {
            return Ok(Vec::new());
        }
        let data = self.dataset(name)?;
        if data.ndim() != 1 || data.size() > MOST {
            return Err(self.damaged(name, "not a list"));
        }
        data.read_raw().map_err(|e| self.damaged(name, e.to_string()))
    }

    /// A list of texts; empty if absent.
    pub(super) fn texts(&self, name: &str) -> Got<Vec<String>> {
        let list = self.list::<VarLenUnicode>(name)?;
        Ok(list.iter().map(|t| t.as_str().to_string()).collect())
    }

    /// A list of `len` texts.
    pub(super) fn texts_of(&self, name: &str, len: usize) -> Got<Vec<String>> {
        let texts = self.texts(name)?;
        if texts.len() == len {
            Ok(texts)
        } else {
            Err(self.damaged(name, format!("{} texts, {len} expected", texts.len())))
        }
    }
}
