//! The keys of the case file: what is followed, solved for and spread.

use super::constants::Dim;
use super::key_tables::AMBIENT;
use super::keys::*;

const FOLDS: &[Word] = &[
    word("trigger", "the trigger point of a snapback"),
    word("holding", "the holding point of a snapback"),
    word("critical", "the critical point of an injection"),
];

const EXPERIMENT: KeySpec = may(
    "experiment",
    Kind::Count(0, 1000),
    "Number of the experiment, from 0, that the point belongs to; absent: the first that has one.",
);

pub static FOLLOW: TableSpec = TableSpec {
    name: "[[follow]]",
    id: "follow",
    selector: None,
    groups: &[],
    doc: "How one point of a curve moves along one number of the case.",
    keys: &[
        must("fold", Kind::Word(FOLDS), "Which point."),
        EXPERIMENT,
        must(
            "along",
            Kind::Text,
            "Dotted path of the number, e.g. temperature, well.n-well.falloff, slide.spacing.",
        ),
        must("from", Kind::Loose, "Low end, in the number's unit."),
        must("to", Kind::Loose, "High end, in the number's unit."),
    ],
};

static OVER: TableSpec = TableSpec {
    name: "rule.over",
    id: "over",
    selector: None,
    groups: &[],
    doc: "Where the rule must hold: at each of these.",
    keys: &[must(
        "temperature",
        Kind::Quantities(Dim::Temperature, AMBIENT),
        "Ambient temperatures; a plain number is K.",
    )],
};

pub static RULE: TableSpec = TableSpec {
    name: "[[rule]]",
    id: "rule",
    selector: None,
    groups: &[],
    doc: "A number of the case that is solved for: where a requirement is just met.",
    keys: &[
        must("name", Kind::Text, "What the rule is called."),
        must(
            "unknown",
            Kind::Loose,
            "Dotted path of the number that is sought; a list of two: the first at each of five values of the second.",
        ),
        must(
            "range",
            Kind::Loose,
            "[low, high] of the unknown, in its unit; a list of two pairs for two unknowns.",
        ),
        must(
            "require",
            Kind::Text,
            "What must hold, e.g. holding.voltage >= verdict.supply * (1 + verdict.margin).",
        ),
        EXPERIMENT,
        may("over", Kind::Table(&OVER), "Where it must hold; absent: at `temperature`."),
    ],
};

const SHAPES: &[Word] = &[
    word("normal", "a normal distribution with the standard deviation `sigma`"),
    word("uniform", "any value within `range` to both sides alike"),
];

pub static SPREAD: TableSpec = TableSpec {
    name: "[[spread]]",
    id: "spread",
    selector: Some("shape"),
    groups: &[],
    doc: "The tolerance of one number of the case; all vary independently.",
    keys: &[
        must("parameter", Kind::Text, "Dotted path of the number."),
        choice("shape", SHAPES, "normal", "How it is distributed."),
        must(
            "sigma",
            Kind::Loose,
            "Standard deviation, in the number's unit, or e.g. \"3 %\" of it.",
        )
        .only(&["normal"]),
        must(
            "range",
            Kind::Loose,
            "Largest deviation to either side, in the number's unit, or e.g. \"5 %\" of it.",
        )
        .only(&["uniform"]),
    ],
};
