//! Figures of an experiment by name: numbers, yes or no, columns, groups of them. One form
//! for all kinds of experiments whose answer is no point of one curve, so that the result
//! file, the JSON document and the table each know them all.

use super::outcome::Found;

/// One figure. Names carry their units as in JSON, e.g. `beta`, `collector_A_per_um`.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    pub name: String,
    /// Of its numbers; "1" for plain ones, empty if it has none.
    pub unit: String,
    /// What it is, in a few words.
    pub meaning: String,
    pub value: Shown,
}

/// What a figure holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Shown {
    Number(Found<f64>),
    YesNo(Found<bool>),
    Text(String),
    Texts(Vec<String>),
    /// Numbers of a given shape, the last axis fastest; NaN where there is none.
    Numbers {
        shape: Vec<usize>,
        values: Vec<f64>,
    },
    Group(Sheet),
}

/// Figures in the order in which they are shown.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sheet {
    pub figures: Vec<Figure>,
}

impl Sheet {
    /// An empty one.
    pub fn new() -> Sheet {
        Sheet::default()
    }

    fn with(mut self, name: &str, unit: &str, meaning: &str, value: Shown) -> Sheet {
        let (name, unit) = (name.to_string(), unit.to_string());
        self.figures.push(Figure { name, unit, meaning: meaning.to_string(), value });
        self
    }

    /// With a number, or the reason why there is none.
    pub fn number(self, name: &str, unit: &str, meaning: &str, value: Found<f64>) -> Sheet {
        self.with(name, unit, meaning, Shown::Number(value))
    }

    /// With an answer, or the reason why there is none.
    pub fn yes_no(self, name: &str, meaning: &str, value: Found<bool>) -> Sheet {
        self.with(name, "", meaning, Shown::YesNo(value))
    }

    /// With a sentence or a word.
    pub fn text(self, name: &str, meaning: &str, value: &str) -> Sheet {
        self.with(name, "", meaning, Shown::Text(value.to_string()))
    }

    /// With a list of names.
    pub fn texts(self, name: &str, meaning: &str, values: &[String]) -> Sheet {
        self.with(name, "", meaning, Shown::Texts(values.to_vec()))
    }

    /// With a column of numbers.
    pub fn column(self, name: &str, unit: &str, meaning: &str, values: Vec<f64>) -> Sheet {
        let shape = vec![values.len()];
        self.with(name, unit, meaning, Shown::Numbers { shape, values })
    }

    /// With numbers of a shape; values beyond it are cut off, missing ones are NaN.
    pub fn numbers(
        self,
        name: &str,
        unit: &str,
        meaning: &str,
        shape: &[usize],
        mut values: Vec<f64>,
    ) -> Sheet {
        values.resize(shape.iter().product(), f64::NAN);
        self.with(name, unit, meaning, Shown::Numbers { shape: shape.to_vec(), values })
    }

    /// With a group of figures.
    pub fn group(self, name: &str, meaning: &str, figures: Sheet) -> Sheet {
        self.with(name, "", meaning, Shown::Group(figures))
    }

    /// The figure at a path of names, `/` between them.
    pub fn find(&self, path: &str) -> Option<&Figure> {
        let (first, rest) = match path.split_once('/') {
            Some((first, rest)) => (first, Some(rest)),
            None => (path, None),
        };
        let figure = self.figures.iter().find(|f| f.name == first)?;
        match (rest, &figure.value) {
            (None, _) => Some(figure),
            (Some(rest), Shown::Group(sheet)) => sheet.find(rest),
            _ => None,
        }
    }

    /// The number at a path, if there is one.
    pub fn number_at(&self, path: &str) -> Option<f64> {
        match self.find(path)?.value {
            Shown::Number(Ok(v)) => Some(v),
            _ => None,
        }
    }

    /// The answer at a path, if there is one.
    pub fn yes_no_at(&self, path: &str) -> Option<bool> {
        match self.find(path)?.value {
            Shown::YesNo(Ok(v)) => Some(v),
            _ => None,
        }
    }

    /// The numbers at a path; empty if there are none.
    pub fn numbers_at(&self, path: &str) -> &[f64] {
        match self.find(path).map(|f| &f.value) {
            Some(Shown::Numbers { values, .. }) => values,
            _ => &[],
        }
    }
}
