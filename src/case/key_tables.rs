//! The keys of the case file: the layout, the grid, the verdict and the file itself.
//! Laws and experiments are in `key_tables_run`.

use super::constants::Dim;
use super::key_tables_laws::LAWS;
use super::key_tables_rules::{FOLLOW, RULE, SPREAD};
use super::key_tables_run::EXPERIMENT;
use super::keys::*;

const LENGTHS: Bounds = Bounds::above(0.0, 1e6);
const POSITIONS: Bounds = Bounds::between(-1e6, 1e6);
/// Silicon has 5e22 atoms per cm³; no doping can exceed them.
const DOPING: Bounds = Bounds::above(0.0, 5e22);
/// Ambient range of the laws (DESIGN section 6).
pub const AMBIENT: Bounds = Bounds::between(233.0, 448.0);
const VOLTS: Bounds = Bounds::between(-1e4, 1e4);

/// Elementary charges; a hundredth of the atoms of a silicon surface (6.8e14 cm⁻², from
/// the lattice constant) is far beyond any oxide.
const FIXED_CHARGE: Kind = Kind::Quantity(Dim::AreaDensity, Bounds::between(-1e14, 1e14));

const fn length(bounds: Bounds) -> Kind {
    Kind::Quantity(Dim::Length, bounds)
}

const FROM: KeySpec = must("from", length(POSITIONS), "Left end, x in um.");
const TO: KeySpec = must("to", length(POSITIONS), "Right end, x in um.");

/// The whole file.
pub static CASE: TableSpec = TableSpec {
    name: "the case",
    id: "case",
    selector: None,
    groups: &[],
    doc: "One run: a doped cross-section, the laws, the mesh, the experiments.",
    keys: &[
        KeySpec {
            key: "title",
            kind: Kind::Text,
            absent: Absent::Word(""),
            only: &[],
            doc: "Free text.",
        },
        number(
            "temperature",
            Kind::Quantity(Dim::Temperature, AMBIENT),
            300.0,
            "Ambient temperature; a plain number is K.",
        ),
        may(
            "temperatures",
            Kind::Quantities(Dim::Temperature, AMBIENT),
            "Temperatures that a verdict is asked for; absent: `temperature` alone.",
        ),
        number("width", length(LENGTHS), 1.0, "Out-of-plane width; turns A/um into A in tables."),
        must("wafer", Kind::Table(&WAFER), "The silicon that is cut."),
        may("well", Kind::Tables(&WELL), "Wells."),
        may("diffusion", Kind::Tables(&DIFFUSION), "Sources, drains, taps and other implants."),
        may("trench", Kind::Tables(&TRENCH), "Oxide-filled isolation."),
        may("gate", Kind::Tables(&GATE), "Gates on their oxide; each is a terminal too."),
        may("terminal", Kind::Tables(&TERMINAL), "Ohmic contacts."),
        may("laws", Kind::Table(&LAWS), "Which published law is in force for each property."),
        may("heat", Kind::Table(&HEAT), "Where heat leaves the cut, for heat = \"self-heating\"."),
        may("constants", Kind::Constants, "Any law's constant, by law and name."),
        may("grid", Kind::Table(&GRID), "The mesh that is asked for."),
        may("experiment", Kind::Tables(&EXPERIMENT), "What is measured, in this order."),
        may("verdict", Kind::Table(&VERDICT), "What the curves are judged against."),
        may("follow", Kind::Tables(&FOLLOW), "How a point of a curve moves along one number."),
        may("slide", Kind::Tables(&SLIDE), "Named motions of the layout, for sweeps and rules."),
        may("rule", Kind::Tables(&RULE), "Design rules that are solved for."),
        may("spread", Kind::Tables(&SPREAD), "Tolerances of the case's numbers."),
    ],
};

static WAFER: TableSpec = TableSpec {
    name: "[wafer]",
    id: "wafer",
    selector: None,
    groups: &[Group { choose: Choose::AtMostOne, keys: &["donors", "acceptors"], only: &[] }],
    doc: "The cut runs from x = 0 to `span` and from the surface (y = 0) down to `thickness`.",
    keys: &[
        must("span", length(LENGTHS), "Lateral length of the cut."),
        must("thickness", length(LENGTHS), "Simulated silicon depth."),
        may("donors", Kind::Quantity(Dim::Density, DOPING), "Uniform donor doping."),
        may("acceptors", Kind::Quantity(Dim::Density, DOPING), "Uniform acceptor doping."),
        may("epi", Kind::Table(&EPI), "An epitaxial layer on a heavier handle wafer."),
    ],
};

static EPI: TableSpec = TableSpec {
    name: "wafer.epi",
    id: "epi",
    selector: None,
    groups: &[Group { choose: Choose::ExactlyOne, keys: &["donors", "acceptors"], only: &[] }],
    doc: "The layer's doping replaces the wafer's down to `thickness`; below it the handle's holds.",
    keys: &[
        must("thickness", length(LENGTHS), "Thickness of the layer."),
        may("donors", Kind::Quantity(Dim::Density, DOPING), "Donor doping of the layer."),
        may("acceptors", Kind::Quantity(Dim::Density, DOPING), "Acceptor doping of the layer."),
        must(
            "handle",
            Kind::Quantity(Dim::Density, DOPING),
            "Doping of the handle wafer, of the layer's polarity.",
        ),
        number(
            "blur",
            length(Bounds::between(0.0, 1e3)),
            0.4,
            "Length of the error-function step between layer and handle; 0 is abrupt.",
        ),
    ],
};

const GRADED: &[&str] = &["gaussian", "erfc"];
const SHAPES: &[Word] = &[
    word("gaussian", "exp(-((y - crest)/falloff)^2), above and below the crest"),
    word("erfc", "erfc((y - crest)/falloff) below the crest, 1 above it"),
    word("box", "1 from top to bottom: uniform, abrupt"),
    word("table", "a measured profile in a CSV file beside the case"),
];

const PIECE_KEYS: &[KeySpec] = &[
    must("name", Kind::Name, "Name of the piece."),
    may("donors", Kind::Quantity(Dim::Density, DOPING), "Peak donor density."),
    may("acceptors", Kind::Quantity(Dim::Density, DOPING), "Peak acceptor density."),
    FROM,
    TO,
    number(
        "spread",
        length(Bounds::between(0.0, 1e4)),
        0.0,
        "Beside [from, to] the density falls as exp(-(distance/spread)^2); 0 is abrupt.",
    ),
    choice("shape", SHAPES, "gaussian", "How the density goes with depth."),
    number("crest", length(Bounds::between(0.0, 1e6)), 0.0, "Depth of the peak; above 0 is a retrograde profile.")
        .only(GRADED),
    may("falloff", length(LENGTHS), "Length in depth over which the density falls.").only(GRADED),
    may(
        "junction_depth",
        length(LENGTHS),
        "Depth where the net doping changes sign on the piece's centre line, all other pieces present; falloff follows.",
    )
    .only(GRADED),
    number("top", length(Bounds::between(0.0, 1e6)), 0.0, "Upper end of the box.").only(&["box"]),
    may("bottom", length(LENGTHS), "Lower end of the box; absent: the wafer's thickness.")
        .only(&["box"]),
    must(
        "file",
        Kind::File,
        "CSV file with the columns depth_um, concentration_cm3, in the case's folder.",
    )
    .only(&["table"]),
];

const PIECE_GROUPS: &[Group] = &[
    Group { choose: Choose::ExactlyOne, keys: &["donors", "acceptors"], only: &[] },
    Group { choose: Choose::ExactlyOne, keys: &["falloff", "junction_depth"], only: GRADED },
];

static WELL: TableSpec = TableSpec {
    name: "[[well]]",
    id: "well",
    selector: Some("shape"),
    groups: PIECE_GROUPS,
    doc: "A well. Doping pieces add up: net = donors - acceptors.",
    keys: PIECE_KEYS,
};

static DIFFUSION: TableSpec = TableSpec {
    name: "[[diffusion]]",
    id: "diffusion",
    selector: Some("shape"),
    groups: PIECE_GROUPS,
    doc: "A source, drain, tap or other implant. Doping pieces add up: net = donors - acceptors.",
    keys: PIECE_KEYS,
};

static TRENCH: TableSpec = TableSpec {
    name: "[[trench]]",
    id: "trench",
    selector: None,
    groups: &[],
    doc: "Oxide-filled isolation from the surface down.",
    keys: &[
        FROM,
        TO,
        must("depth", length(LENGTHS), "Depth of the oxide."),
        number(
            "fixed_charge",
            FIXED_CHARGE,
            0.0,
            "Fixed charge on its walls and floor, in elementary charges per area.",
        ),
    ],
};

const PLATES: &[Word] = &[
    word("n+ poly", "degenerate n-type polysilicon: Fermi level at the conduction band"),
    word("p+ poly", "degenerate p-type polysilicon: Fermi level at the valence band"),
];

static PLATE: TableSpec = TableSpec {
    name: "gate.plate",
    id: "plate",
    selector: None,
    groups: &[],
    doc: "A plate given by its work function.",
    keys: &[must(
        "work_function",
        Kind::Quantity(Dim::Energy, Bounds::between(2.0, 7.0)),
        "Energy from the plate's Fermi level to vacuum.",
    )],
};

static GATE: TableSpec = TableSpec {
    name: "[[gate]]",
    id: "gate",
    selector: None,
    groups: &[],
    doc: "A gate on its oxide, resting on the silicon surface. A terminal too.",
    keys: &[
        must("name", Kind::Name, "Name of the gate; experiments address it by this."),
        FROM,
        TO,
        must("oxide", length(Bounds::between(1e-4, 10.0)), "Thickness of the gate oxide."),
        must("plate", Kind::WordOrTable(PLATES, &PLATE), "What the gate is made of."),
        number(
            "fixed_charge",
            FIXED_CHARGE,
            0.0,
            "Fixed charge where its oxide meets silicon, in elementary charges per area.",
        ),
        may("follows", Kind::Name, "Terminal whose outside voltage this gate takes."),
    ],
};

const ROLES: &[Word] = &[
    word("cathode", "the n+ source in the p-substrate or p-well"),
    word("anode", "the p+ source in the n-well"),
    word("well-tap", "the n+ contact of the n-well"),
    word("substrate-tap", "the p+ contact of the substrate"),
    word("drain", "a drain, e.g. of a pad driver"),
    word("guard", "a guard ring"),
    word("none", "anything else"),
];

const SIDES: &[Word] = &[
    word("left", "the silicon at x = 0"),
    word("right", "the silicon at x = span"),
    word("back", "the silicon at y = thickness"),
];

static TOUCH: TableSpec = TableSpec {
    name: "terminal.touches",
    id: "touch",
    selector: None,
    // from and to belong together; the reader says so.
    groups: &[Group { choose: Choose::ExactlyOne, keys: &["from", "side"], only: &[] }],
    doc: "A stretch of the surface (from, to), or a whole side of the silicon.",
    keys: &[
        may("from", length(POSITIONS), "Left end on the surface, x in um."),
        may("to", length(POSITIONS), "Right end on the surface, x in um."),
        may("side", Kind::Word(SIDES), "A whole side of the silicon."),
    ],
};

static TERMINAL: TableSpec = TableSpec {
    name: "[[terminal]]",
    id: "terminal",
    selector: None,
    groups: &[],
    doc: "An ohmic contact; several pieces make one node.",
    keys: &[
        must("name", Kind::Name, "Name of the terminal; experiments address it by this."),
        choice("role", ROLES, "none", "What the terminal is in the p-n-p-n path."),
        must("touches", Kind::Tables(&TOUCH), "Where it touches the silicon."),
        number(
            "resistance",
            Kind::Quantity(Dim::ResistanceWidth, Bounds::between(0.0, 1e15)),
            0.0,
            "Contact plus wiring, in series.",
        ),
        number(
            "inductance",
            Kind::Quantity(Dim::InductanceWidth, Bounds::between(0.0, 1e3)),
            0.0,
            "Of the wiring, in series with `resistance`; matters in transients.",
        ),
        number(
            "capacitance",
            Kind::Quantity(Dim::CapacitancePerWidth, Bounds::between(0.0, 1.0)),
            0.0,
            "From the terminal to ground, behind `resistance` and `inductance`; matters in transients.",
        ),
    ],
};

/// Specific thermal resistances: from a face that is as good as held at ambient to one
/// that lets next to nothing through.
pub const THERMAL: Bounds = Bounds::between(1e-9, 1e9);

static HEAT: TableSpec = TableSpec {
    name: "[heat]",
    id: "heat",
    selector: None,
    groups: &[],
    doc: "Specific thermal resistances to the ambient; a face without one is adiabatic, as are the sides of the cut where no terminal covers them.",
    keys: &[
        may(
            "surface",
            Kind::Quantity(Dim::ThermalResistanceArea, THERMAL),
            "From the silicon surface and the tops of the gates.",
        ),
        may(
            "back",
            Kind::Quantity(Dim::ThermalResistanceArea, THERMAL),
            "From the bottom of the cut: the rest of the wafer, die attach and package.",
        ),
        may(
            "terminals",
            Kind::Quantity(Dim::ThermalResistanceArea, THERMAL),
            "From every ohmic terminal, in place of what its face else has.",
        ),
    ],
};

/// Default node budget.
pub const NODES: usize = 8000;

const GRADINGS: &[Word] = &[
    word("structure", "by layout and doping"),
    word("solution", "by how much each place changes the figures; takes about three times as long"),
];

static GRID: TableSpec = TableSpec {
    name: "[grid]",
    id: "grid",
    selector: None,
    groups: &[],
    doc: "The mesh that is asked for: a budget, or finest and growth, or the lines themselves.",
    keys: &[
        may(
            "nodes",
            Kind::Count(20, 2_000_000),
            "Node budget; 8000 if neither this nor lines are given.",
        ),
        may("finest", length(Bounds::above(0.0, 1e3)), "Smallest interval; absent: 4 nm."),
        may(
            "growth",
            Kind::Quantity(Dim::Number, Bounds::above(1.0, 10.0)),
            "Largest ratio of neighbouring intervals; absent: 1.35.",
        ),
        choice("grading", GRADINGS, "structure", "What decides where the lines are dense."),
        may(
            "x",
            Kind::Quantities(Dim::Length, POSITIONS),
            "Lateral lines, growing, from 0 to the span.",
        ),
        may(
            "y",
            Kind::Quantities(Dim::Length, POSITIONS),
            "Depth lines, growing, to the thickness; below 0 they lie in gate oxide.",
        ),
    ],
};

static SLIDE: TableSpec = TableSpec {
    name: "[[slide]]",
    id: "slide",
    selector: None,
    groups: &[],
    doc: "A named motion of the layout: everything right of `right_of` moves together. The case is as drawn; sweeps and rules move it by `slide.NAME`.",
    keys: &[
        must("name", Kind::Name, "Name of the motion."),
        must(
            "right_of",
            length(POSITIONS),
            "What has a larger x moves; a piece across this x is stretched.",
        ),
    ],
};

static VERDICT: TableSpec = TableSpec {
    name: "[verdict]",
    id: "verdict",
    selector: None,
    groups: &[],
    doc: "What the curves are judged against.",
    keys: &[
        must(
            "supply",
            Kind::Quantity(Dim::Voltage, Bounds::above(0.0, VOLTS.high)),
            "Supply voltage.",
        ),
        number(
            "margin",
            Kind::Quantity(Dim::Number, Bounds::between(0.0, 10.0)),
            0.1,
            "Sustain-free means V_h > supply (1 + margin).",
        ),
        may(
            "supply_current",
            Kind::Quantity(Dim::Current, Bounds::above(0.0, 1e6)),
            "Largest current that the supply delivers; absent: unlimited.",
        ),
    ],
};
