//! The keys of the case file: experiments.

use super::constants::Dim;
use super::keys::*;

const VOLTS: Bounds = Bounds::between(-1e4, 1e4);
/// Times of transients [s].
const TIMES: Bounds = Bounds::above(0.0, 1.0);
const TIME: Kind = Kind::Quantity(Dim::Time, TIMES);
const CURRENTS: Bounds = Bounds::between(-1e3, 1e3);
const LENGTHS: Bounds = Bounds::above(0.0, 1e6);
const CHARGES: Bounds = Bounds::above(0.0, 1e-6);

/// Default magnitude of the current at which a trace ends [A/µm].
pub const STOP_CURRENT: f64 = 1e-2;
/// Default collector current at which a gain's curve ends [A/µm].
pub const GAINS_STOP: f64 = 1e-3;

static STOP: TableSpec = TableSpec {
    name: "experiment.stop",
    id: "stop",
    selector: None,
    groups: &[Group { choose: Choose::AtLeastOne, keys: &["current", "voltage"], only: &[] }],
    doc: "When a trace ends: the first that is reached. Absent: a current of 1e-2 A/um, for gains a collector current of 1e-3 A/um.",
    keys: &[
        may(
            "current",
            Kind::Quantity(Dim::CurrentPerWidth, Bounds::above(0.0, 1e3)),
            "Magnitude of the current.",
        ),
        may(
            "voltage",
            Kind::Quantity(Dim::Voltage, Bounds::above(0.0, VOLTS.high)),
            "Magnitude of the voltage.",
        ),
    ],
};

/// `{ from, to }` of a search by bisection.
macro_rules! search {
    ($name:ident, $id:literal, $dim:expr, $bounds:expr) => {
        static $name: TableSpec = TableSpec {
            name: concat!("experiment.", $id),
            id: $id,
            selector: None,
            groups: &[],
            doc: "The limit between latching and not is searched for in this range.",
            keys: &[
                must("from", Kind::Quantity($dim, $bounds), "Low end of the search."),
                must("to", Kind::Quantity($dim, $bounds), "High end of the search."),
            ],
        };
    };
}
search!(RISE, "rise", Dim::Time, TIMES);
search!(WIDTH, "width", Dim::Time, TIMES);
search!(HEIGHT, "height", Dim::CurrentPerWidth, CURRENTS);
search!(CHARGE, "charge_per_um", Dim::ChargePerLength, CHARGES);

static WAVEFORM: TableSpec = TableSpec {
    name: "experiment.waveform",
    id: "waveform",
    selector: None,
    groups: &[Group { choose: Choose::ExactlyOne, keys: &["value", "voltage"], only: &[] }],
    doc: "One corner of a piecewise-linear waveform; times grow.",
    keys: &[
        must(
            "time",
            Kind::Quantity(Dim::Time, Bounds::between(0.0, 1.0)),
            "Time of the corner; the pulse begins at the first.",
        ),
        may("value", Kind::Quantity(Dim::CurrentPerWidth, CURRENTS), "Current into the terminal."),
        may("voltage", Kind::Quantity(Dim::Voltage, VOLTS), "Voltage of the terminal instead."),
    ],
};

const KINDS: &[Word] = &[
    word("snapback", "one voltage on all of `drive`, followed through every fold"),
    word("injection", "current forced into or pulled out of one terminal"),
    word("bias", "plain DC: the driven terminals take each voltage of `at`"),
    word("gains", "current gains of both parasitic bipolars over their collector current"),
    word("resistances", "well and substrate resistance seen by the bases of the bipolars"),
    word("overvoltage", "the supply is raised beyond its maximum and brought back"),
    word("supply-ramp", "the supply is switched on in a given time"),
    word("pulse", "a current or voltage pulse at one terminal"),
    word("strike", "a track of charge through the silicon"),
    word("capacitance", "small-signal admittance between all terminals over frequency"),
];

const SIGNS: &[Word] = &[word("+", "current into the device"), word("-", "current out of it")];
const IDLE: &[Word] = &[
    word("tied", "the other bipolar's emitter is tied to its base's tap"),
    word("open", "the other bipolar's emitter carries no current"),
];
const CONFIRM: &[Word] = &[
    word("ramp", "the current is ramped past the critical one and back; does the supply's stay?"),
    word("none", "the critical current alone"),
];

pub static EXPERIMENT: TableSpec = TableSpec {
    name: "[[experiment]]",
    id: "experiment",
    selector: Some("kind"),
    groups: &[
        Group { choose: Choose::AtMostOne, keys: &["factor", "to"], only: &["overvoltage"] },
        Group {
            choose: Choose::ExactlyOne,
            keys: &["waveform", "height", "heights"],
            only: &["pulse"],
        },
    ],
    doc: "What is measured. A terminal neither driven, biased nor open sits at 0 V.",
    keys: &[
        must("kind", Kind::Word(KINDS), "What is measured."),
        must("drive", Kind::Names, "Terminals that share the driven voltage.")
            .only(&["snapback", "bias", "overvoltage", "supply-ramp"]),
        must("into", Kind::Name, "Terminal that the current is forced into.")
            .only(&["injection", "pulse"]),
        KeySpec {
            key: "sign",
            kind: Kind::Word(SIGNS),
            absent: Absent::Word("+"),
            only: &["injection"],
            doc: "Whether the current flows into the device or out of it.",
        },
        must("at", Kind::Quantities(Dim::Voltage, VOLTS), "Voltages, one after the other.")
            .only(&["bias"]),
        must(
            "at",
            Kind::Quantity(Dim::Length, Bounds::between(-1e6, 1e6)),
            "Where the track enters the silicon surface, x.",
        )
        .only(&["strike"]),
        may("bias", Kind::Voltages, "Held terminals and their voltages; the others sit at 0 V.")
            .only(&[
                "snapback",
                "injection",
                "bias",
                "gains",
                "resistances",
                "overvoltage",
                "supply-ramp",
                "pulse",
                "strike",
                "capacitance",
            ]),
        may("open", Kind::Names, "Terminals that carry no current."),
        may("stop", Kind::Table(&STOP), "When the trace ends.")
            .only(&["snapback", "injection", "gains"]),
        may(
            "supply",
            Kind::Quantity(Dim::Voltage, Bounds::above(0.0, VOLTS.high)),
            "Supply voltage; absent: that of [verdict].",
        )
        .only(&["gains", "resistances", "overvoltage", "supply-ramp"]),
        choice("idle_emitter", IDLE, "tied", "What the other bipolar's emitter does.")
            .only(&["gains"]),
        may(
            "level",
            Kind::Quantity(Dim::Current, Bounds::above(0.0, 1e3)),
            "Test level per pin, e.g. the 100 mA of JESD78; compared with the critical current at `injector_width`.",
        )
        .only(&["injection"]),
        may(
            "injector_width",
            Kind::Quantity(Dim::Length, LENGTHS),
            "Out-of-plane width of the injecting diffusion; absent: `width` of the case.",
        )
        .only(&["injection"]),
        choice("confirm", CONFIRM, "none", "Whether the critical current is confirmed by a ramp.")
            .only(&["injection"]),
        number(
            "factor",
            Kind::Quantity(Dim::Number, Bounds::between(1.0, 10.0)),
            1.5,
            "How far the supply is raised, times `supply`.",
        )
        .only(&["overvoltage"]),
        may(
            "to",
            Kind::Quantity(Dim::Voltage, Bounds::above(0.0, VOLTS.high)),
            "Voltage that the supply is raised to.",
        )
        .only(&["overvoltage"]),
        may(
            "to",
            Kind::Quantity(Dim::Voltage, Bounds::above(0.0, VOLTS.high)),
            "Voltage that the supply rises to; absent: `supply`.",
        )
        .only(&["supply-ramp"]),
        must(
            "rise",
            Kind::QuantityOrTable(Dim::Time, TIMES, &RISE),
            "Time from 0 V to the full supply; { from, to } searches for the shortest safe one.",
        )
        .only(&["supply-ramp"]),
        may(
            "waveform",
            Kind::Tables(&WAVEFORM),
            "Corners of a piecewise-linear pulse, before which and after which the terminal is as `bias` and `open` say.",
        )
        .only(&["pulse"]),
        may(
            "height",
            Kind::QuantityOrTable(Dim::CurrentPerWidth, CURRENTS, &HEIGHT),
            "Current of a trapezoidal pulse; { from, to } searches for the smallest that latches.",
        )
        .only(&["pulse"]),
        may(
            "heights",
            Kind::Quantities(Dim::CurrentPerWidth, CURRENTS),
            "Currents for each of which the shortest latching width is searched for.",
        )
        .only(&["pulse"]),
        may(
            "width",
            Kind::QuantityOrTable(Dim::Time, TIMES, &WIDTH),
            "Time at full height; { from, to } searches for the shortest that latches.",
        )
        .only(&["pulse"]),
        number(
            "edge",
            TIME,
            1e-10,
            "Rise and fall time of a trapezoidal pulse.",
        )
        .only(&["pulse"]),
        may(
            "settle",
            TIME,
            "Time after the stimulus before the supply current is judged; extended until it is clear.",
        )
        .only(&["supply-ramp", "pulse", "strike"]),
        number(
            "angle",
            Kind::Quantity(Dim::Number, Bounds::between(-89.0, 89.0)),
            0.0,
            "Angle of the track from straight down in degrees, positive towards larger x.",
        )
        .only(&["strike"]),
        must("reach", Kind::Quantity(Dim::Length, LENGTHS), "Length of the track.")
            .only(&["strike"]),
        number(
            "radius",
            Kind::Quantity(Dim::Length, LENGTHS),
            0.05,
            "Radius at which the track's density has fallen to 1/e.",
        )
        .only(&["strike"]),
        must(
            "charge_per_um",
            Kind::QuantityOrTable(Dim::ChargePerLength, CHARGES, &CHARGE),
            "Charge of electrons (and of holes) per length of track and per um of width; { from, to } searches for the smallest that latches.",
        )
        .only(&["strike"]),
        number("time", TIME, 2e-12, "Time constant of the charge's generation.").only(&["strike"]),
        must(
            "frequencies",
            Kind::Quantities(Dim::Frequency, Bounds::above(0.0, 1e13)),
            "Frequencies of the small signal.",
        )
        .only(&["capacitance"]),
    ],
};
