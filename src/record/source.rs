//! Groups and columns of a result file that is read: everything is checked before it is
//! believed.

use std::collections::{BTreeMap, BTreeSet};

use hdf5::dataset::Layout;
use hdf5::filters::Filter;
use hdf5::types::{TypeDescriptor, VarLenUnicode};
use hdf5::{Dataset, Group, H5Type, LinkType};

use super::RecordError;
use super::opened::{NO_TEXT, Opened, TOO_MUCH};

type Got<T> = Result<T, RecordError>;

/// No list in a result is longer than this; a foreign file must not make us ask for
/// memory without end.
pub(super) const MOST: usize = 50_000_000;

/// The binding takes the file's word that these bytes are UTF-8.
fn plain(text: &VarLenUnicode) -> Option<String> {
    String::from_utf8(text.as_str().as_bytes().to_vec()).ok()
}

/// A group of the file.
pub(super) struct Shelf<'p> {
    file: &'p Opened,
    group: Group,
    path: String,
    /// Names of what is in the group itself, without links that lead elsewhere. Asked for
    /// once and with the error kept: a library call that asks for one name answers "not
    /// there" for a damaged group.
    members: BTreeSet<String>,
    /// Text attributes.
    texts: BTreeMap<String, String>,
}

impl<'p> Shelf<'p> {
    /// The group, with its names and texts.
    pub(super) fn open(file: &'p Opened, group: Group, path: String) -> Got<Shelf<'p>> {
        let mut shelf =
            Shelf { file, group, path, members: BTreeSet::new(), texts: BTreeMap::new() };
        let fail = |e: hdf5::Error| shelf.damaged("", e.to_string());
        let mut members = BTreeSet::new();
        let list = shelf.group.iter_visit_default(|name, link| {
            if link.link_type == LinkType::Hard {
                members.insert(name.to_string());
            }
            Ok(())
        });
        list.map_err(fail)?;
        let mut texts = BTreeMap::new();
        for name in shelf.group.attr_names().map_err(fail)? {
            let attr = shelf.group.attr(&name).map_err(fail)?;
            let kind = attr.dtype().and_then(|t| t.to_descriptor());
            if matches!(kind, Ok(TypeDescriptor::VarLenUnicode)) && attr.is_scalar() {
                let text = attr.read_scalar::<VarLenUnicode>().map_err(fail)?;
                let text = plain(&text).ok_or_else(|| shelf.damaged(&name, NO_TEXT))?;
                shelf.count_bytes(&name, text.len() as u64)?;
                texts.insert(name, text);
            }
        }
        (shelf.members, shelf.texts) = (members, texts);
        Ok(shelf)
    }

    pub(super) fn damaged(&self, name: &str, detail: impl Into<String>) -> RecordError {
        RecordError::Damaged {
            path: self.file.path.clone(),
            at: format!("{}/{name}", self.path),
            detail: detail.into(),
        }
    }

    /// Counts bytes that are read.
    fn count_bytes(&self, name: &str, bytes: u64) -> Got<()> {
        if self.file.takes(bytes) {
            return Ok(());
        }
        Err(self.damaged(name, TOO_MUCH))
    }

    /// The name of something in this group. A path or a link would lead out of it.
    fn own(&self, name: &str) -> Got<()> {
        match self.has(name) {
            true => Ok(()),
            false => Err(self.damaged(name, "it is missing, or a link that leads elsewhere")),
        }
    }

    /// A group in this one.
    pub(super) fn group(&self, name: &str) -> Got<Shelf<'p>> {
        self.own(name)?;
        let group = self.group.group(name).map_err(|e| self.damaged(name, e.to_string()))?;
        Shelf::open(self.file, group, format!("{}/{name}", self.path))
    }

    /// True if there is an object of this name.
    pub(super) fn has(&self, name: &str) -> bool {
        self.members.contains(name)
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

    /// A dataset that keeps its values in this file, by filters that are our own.
    fn dataset(&self, name: &str) -> Got<Dataset> {
        self.own(name)?;
        let fail = |e: hdf5::Error| self.damaged(name, e.to_string());
        let data = self.group.dataset(name).map_err(fail)?;
        // Asked before the shape: that of a virtual dataset is looked for in other files.
        let made = data.create_plist().map_err(fail)?;
        if made.get_layout().map_err(fail)? == Layout::Virtual
            || !made.get_external().map_err(fail)?.is_empty()
        {
            return Err(self.damaged(name, "its values are said to stand in another file"));
        }
        let ours =
            |f: &Filter| matches!(f, Filter::Shuffle | Filter::Deflate(_) | Filter::Fletcher32);
        match made.get_filters().map_err(fail)?.iter().find(|f| !ours(f)) {
            Some(other) => Err(self.damaged(name, format!("packed with the filter {other:?}"))),
            None => Ok(data),
        }
    }

    /// All values of a dataset, if its file can hold them.
    fn values<T: H5Type>(&self, name: &str, data: &Dataset) -> Got<Vec<T>> {
        let fail = |e: hdf5::Error| self.damaged(name, e.to_string());
        let each = data.dtype().map_err(fail)?.size().max(size_of::<T>());
        let bytes = (data.size() as u64).saturating_mul(each as u64);
        // A chunk is unpacked whole, however few of its values are used.
        let chunk = data.chunk().map_or(0, |c| c.iter().fold(1usize, |a, n| a.saturating_mul(*n)));
        if chunk > data.size() {
            return Err(self.damaged(name, format!("{chunk} values at once of {}", data.size())));
        }
        // Deflate packs to 1/1032 at best (zlib's technical notes, "Maximum Compression
        // Factor"); what was never written takes no room at all.
        if bytes > data.storage_size().saturating_mul(1100).saturating_add(4096) {
            return Err(self.damaged(name, format!("{bytes} bytes are declared and not there")));
        }
        self.count_bytes(name, bytes)?;
        data.read_raw().map_err(fail)
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
        self.values(name, &data)
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
        self.values(name, &data)
    }

    /// A list of texts; empty if absent.
    pub(super) fn texts(&self, name: &str) -> Got<Vec<String>> {
        if !self.has(name) {
            return Ok(Vec::new());
        }
        let data = self.dataset(name)?;
        if data.ndim() != 1 || data.size() > MOST {
            return Err(self.damaged(name, "not a list"));
        }
        self.told(name, &data)
    }

    /// Texts of a given shape, the last axis fastest.
    pub(super) fn texts_along(&self, name: &str, shape: &[usize]) -> Got<Vec<String>> {
        let data = self.dataset(name)?;
        let found = data.shape();
        if found != shape {
            return Err(self.damaged(name, format!("shape {found:?}, {shape:?} expected")));
        }
        self.told(name, &data)
    }

    /// All texts of a dataset.
    fn told(&self, name: &str, data: &Dataset) -> Got<Vec<String>> {
        let kind = data.dtype().and_then(|t| t.to_descriptor());
        if !matches!(kind, Ok(TypeDescriptor::VarLenUnicode)) {
            return Err(self.damaged(name, NO_TEXT));
        }
        let Some(at) = data.offset().filter(|_| data.layout() == Layout::Contiguous) else {
            return Err(self.damaged(name, "its texts are not in one piece"));
        };
        self.file.texts(at, data.size()).map_err(|what| self.damaged(name, what))
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
