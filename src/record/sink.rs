//! Groups, columns and axes of a result under construction. The file lives in memory
//! until it is whole: a full disk or a killed process then never meets the HDF5 library.

use std::cell::RefCell;
use std::sync::atomic::{AtomicU64, Ordering};

use hdf5::types::VarLenUnicode;
use hdf5::{Dataset, File, Group, H5Type, Location, ObjectReference1};

use crate::bare::image;

use super::RecordError;
use super::scales::{self, BackRef};
use super::{seal, superblock};

type Made<T> = Result<T, RecordError>;

/// A file in memory and its dimension scales with what hangs on them.
pub(super) struct Sink {
    file: File,
    scales: RefCell<Vec<(Dataset, Vec<BackRef>)>>,
}

fn native(text: &str) -> Result<VarLenUnicode, String> {
    text.parse().map_err(|_| format!("the text {text:?} contains a NUL character"))
}

/// Text of variable length: h5py gives it back as text, not as bytes.
fn put_text(at: &Location, name: &str, text: &str) -> Result<(), String> {
    let value = native(text)?;
    let attr = at.new_attr::<VarLenUnicode>().create(name);
    attr.and_then(|a| a.write_scalar(&value)).map_err(|e| e.to_string())
}

/// A dimension: a 1-D dataset whose values are its coordinates.
#[derive(Clone, Copy)]
pub(super) struct Axis {
    index: usize,
    reference: ObjectReference1,
    pub(super) len: usize,
}

/// Unit and meaning of a dataset.
#[derive(Clone, Copy)]
pub(super) struct Label<'a> {
    pub unit: &'a str,
    pub meaning: &'a str,
}

pub(super) fn label<'a>(unit: &'a str, meaning: &'a str) -> Label<'a> {
    Label { unit, meaning }
}

impl Sink {
    pub(super) fn new() -> Made<Sink> {
        // Two files open at once need two names, also in memory.
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        // Format 1.10 checksums all metadata (the oldest one that does), and
        // every library since 2016 reads it, whichever library wrote it.
        let file = File::with_options()
            .with_fapl(|p| p.core_filebacked(false).libver_v110())
            .with_fcpl(|p| p.obj_track_times(false))
            .create(format!("holdpoint-result-{number}"))
            .map_err(|e| RecordError::unfit("/", e.to_string()))?;
        Ok(Sink { file, scales: RefCell::default() })
    }

    pub(super) fn root(&self) -> Made<Place<'_>> {
        let group = self.file.group("/").map_err(|e| RecordError::unfit("/", e.to_string()))?;
        Ok(Place { sink: self, group, path: String::new() })
    }

    /// The bytes of the finished file.
    pub(super) fn finish(self) -> Made<Vec<u8>> {
        for (scale, list) in self.scales.into_inner() {
            scales::write_back(&scale, &list).map_err(|e| RecordError::unfit(scale.name(), e))?;
        }
        let fail = |e| RecordError::unfit("/", e);
        let mut image = image(&self.file).map_err(fail)?;
        superblock::close(&mut image).map_err(fail)?;
        seal::add(&mut image);
        Ok(image)
    }
}

/// A group of the file.
pub(super) struct Place<'s> {
    sink: &'s Sink,
    group: Group,
    path: String,
}

impl<'s> Place<'s> {
    fn err(&self, name: &str, detail: impl Into<String>) -> RecordError {
        RecordError::unfit(format!("{}/{name}", self.path), detail)
    }

    /// A new group in this one.
    pub(super) fn group(&self, name: &str) -> Made<Place<'s>> {
        let group = self
            .group
            .create_group_builder()
            .with_gcpl(|p| p.obj_track_times(false))
            .create(name)
            .map_err(|e| self.err(name, e.to_string()))?;
        Ok(Place { sink: self.sink, group, path: format!("{}/{name}", self.path) })
    }

    /// Shows a dataset of the root in this group too.
    pub(super) fn also(&self, name: &str) -> Made<()> {
        self.group.link_hard(&format!("/{name}"), name).map_err(|e| self.err(name, e.to_string()))
    }

    /// A text attribute.
    pub(super) fn text(&self, name: &str, text: &str) -> Made<()> {
        put_text(&self.group, name, text).map_err(|e| self.err(name, e))
    }

    /// A number attribute.
    pub(super) fn number<T: H5Type>(&self, name: &str, value: T) -> Made<()> {
        self.numbers(name, &[value], true)
    }

    /// An attribute with several numbers.
    pub(super) fn vector<T: H5Type>(&self, name: &str, values: &[T]) -> Made<()> {
        self.numbers(name, values, false)
    }

    fn numbers<T: H5Type>(&self, name: &str, values: &[T], scalar: bool) -> Made<()> {
        let attr = self.group.new_attr::<T>();
        let attr = if scalar { attr.create(name) } else { attr.shape(values.len()).create(name) };
        attr.and_then(|a| a.write_raw(values)).map_err(|e| self.err(name, e.to_string()))
    }

    fn describe(&self, name: &str, data: &Dataset, label: Label) -> Made<()> {
        // `units` is what CF readers look for, `unit` what our own table says.
        let put = |key, text| put_text(data, key, text).map_err(|e| self.err(name, e));
        put("units", label.unit)?;
        put("unit", label.unit)?;
        put("long_name", label.meaning)
    }

    fn create<T: H5Type>(&self, name: &str, data: &[T], shape: &[usize]) -> Made<Dataset> {
        let count: usize = shape.iter().product();
        if count != data.len() || count == 0 {
            let detail = format!("{} values given, shape {shape:?} needs {count}", data.len());
            return Err(self.err(name, detail));
        }
        let build = self.group.new_dataset::<T>().obj_track_times(false);
        let build = if shape.is_empty() {
            // In the object header, under its checksum: a scalar cannot be chunked.
            build.shape(()).layout(hdf5::dataset::Layout::Compact)
        } else {
            build.shape(shape).chunk(chunk(shape)).shuffle().deflate(1).fletcher32()
        };
        let made = build.create(name).map_err(|e| self.err(name, e.to_string()))?;
        made.write_raw(data).map_err(|e| self.err(name, e.to_string()))?;
        Ok(made)
    }

    fn create_texts(&self, name: &str, texts: &[String], shape: &[usize]) -> Made<Dataset> {
        let list: Result<Vec<VarLenUnicode>, String> = texts.iter().map(|t| native(t)).collect();
        let list = list.map_err(|e| self.err(name, e))?;
        let build = self.group.new_dataset::<VarLenUnicode>().obj_track_times(false);
        let made = build.shape(shape).create(name);
        let made = made.map_err(|e| self.err(name, e.to_string()))?;
        made.write_raw(list.as_slice()).map_err(|e| self.err(name, e.to_string()))?;
        Ok(made)
    }

    /// A single value with a unit.
    pub(super) fn scalar(&self, name: &str, value: f64, label: Label) -> Made<()> {
        let data = self.create(name, &[value], &[])?;
        self.describe(name, &data, label)
    }

    /// Values along axes, the last one fastest.
    pub(super) fn column<T: H5Type>(
        &self,
        name: &str,
        data: &[T],
        axes: &[Axis],
        label: Label,
    ) -> Made<()> {
        let shape: Vec<usize> = axes.iter().map(|a| a.len).collect();
        let made = self.create(name, data, &shape)?;
        self.describe(name, &made, label)?;
        self.hang(name, &made, axes)
    }

    /// One text per coordinate of an axis.
    pub(super) fn texts(
        &self,
        name: &str,
        texts: &[String],
        axis: Axis,
        meaning: &str,
    ) -> Made<()> {
        self.texts_along(name, texts, &[axis], meaning)
    }

    /// One text per point of a grid, the last axis fastest.
    pub(super) fn texts_along(
        &self,
        name: &str,
        texts: &[String],
        axes: &[Axis],
        meaning: &str,
    ) -> Made<()> {
        let shape: Vec<usize> = axes.iter().map(|a| a.len).collect();
        let count: usize = shape.iter().product();
        if texts.len() != count || texts.is_empty() {
            return Err(self.err(name, format!("{} texts, {count} expected", texts.len())));
        }
        let made = self.create_texts(name, texts, &shape)?;
        self.describe(name, &made, label("1", meaning))?;
        self.hang(name, &made, axes)
    }

    /// A link to the root of another file.
    pub(super) fn link(&self, file: &str, name: &str) -> Made<()> {
        self.group.link_external(file, "/", name).map_err(|e| self.err(name, e.to_string()))
    }

    fn hang(&self, name: &str, data: &Dataset, axes: &[Axis]) -> Made<()> {
        let list: Vec<ObjectReference1> = axes.iter().map(|a| a.reference).collect();
        scales::attach(data, &list).map_err(|e| self.err(name, e))?;
        let mine: ObjectReference1 =
            self.group.reference(name).map_err(|e| self.err(name, e.to_string()))?;
        let mut scales = self.sink.scales.borrow_mut();
        for (dimension, axis) in axes.iter().enumerate() {
            if let Some((_, users)) = scales.get_mut(axis.index) {
                users.push(BackRef::new(mine, dimension));
            }
        }
        Ok(())
    }

    /// A 1-D dataset that is a dimension of its own.
    pub(super) fn axis<T: H5Type>(&self, name: &str, data: &[T], label: Label) -> Made<Axis> {
        let made = self.create(name, data, &[data.len()])?;
        self.describe(name, &made, label)?;
        self.scale(name, made, data.len())
    }

    /// An axis of counted rows: 0, 1, 2, …
    pub(super) fn rows(&self, name: &str, count: usize, meaning: &str) -> Made<Axis> {
        let rows: Vec<u32> = (0..count as u32).collect();
        self.axis(name, &rows, label("1", meaning))
    }

    /// A list of texts that is a dimension of its own.
    pub(super) fn text_axis(&self, name: &str, texts: &[String], meaning: &str) -> Made<Axis> {
        if texts.is_empty() {
            return Err(self.err(name, "no text given"));
        }
        let made = self.create_texts(name, texts, &[texts.len()])?;
        self.describe(name, &made, label("1", meaning))?;
        self.scale(name, made, texts.len())
    }

    fn scale(&self, name: &str, data: Dataset, len: usize) -> Made<Axis> {
        scales::make_scale(&data, name).map_err(|e| self.err(name, e))?;
        let reference = self.group.reference(name).map_err(|e| self.err(name, e.to_string()))?;
        let mut scales = self.sink.scales.borrow_mut();
        scales.push((data, Vec::new()));
        Ok(Axis { index: scales.len() - 1, reference, len })
    }
}

/// At most about 1 MiB per chunk (HDF5's own cache size), split along the first axis.
fn chunk(shape: &[usize]) -> Vec<usize> {
    let mut chunk = shape.to_vec();
    if let Some((first, rest)) = chunk.split_first_mut() {
        let row: usize = rest.iter().product::<usize>().max(1);
        *first = (*first).min((131_072 / row).max(1));
    }
    chunk
}
