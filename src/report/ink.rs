//! The colours of every figure and page, each for light and for dark paper, and the colour
//! scales of maps.
//!
//! Categories differ in lightness and in hue along blue and orange, so that the common
//! colour-vision deficiencies keep them apart, and always in dash, shape or label too. The scales are paths in
//! OKLab (B. Ottosson, "A perceptual color space for image processing", 2020) cut into
//! steps of equal length, so that equal steps of a value look equally large.

/// A colour by what it stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    Text,
    /// Labels of axes, notes.
    Quiet,
    /// Grid lines, frames.
    Rule,
    Paper,
    /// Stable branch before the trigger point.
    Off,
    /// Unstable branch between the folds.
    Between,
    /// Stable branch after the holding point.
    On,
    /// The two-transistor model beside the field solution.
    Lumped,
    /// The supply and its margin.
    Supply,
    Margin,
    /// p-type silicon, weak to strong.
    P1,
    P2,
    P3,
    /// n-type silicon, weak to strong.
    N1,
    N2,
    N3,
    /// Words on the strongest doping.
    Strong,
    Oxide,
    Metal,
    /// Gate plates.
    Plate,
    Junction,
    Mesh,
    /// One result of several.
    Series(usize),
    Plain([u8; 3]),
}

/// Name in style sheets, light, dark.
type Row = (Ink, &'static str, u32, u32);

const ROWS: [Row; 22] = [
    (Ink::Text, "text", 0x1e2329, 0xe6e3dc),
    (Ink::Quiet, "quiet", 0x5d6670, 0xa3a9af),
    (Ink::Rule, "rule", 0xd8d5cd, 0x3a4046),
    (Ink::Paper, "paper", 0xffffff, 0x1a1e22),
    (Ink::Off, "off", 0x1f5f99, 0x6fb1ea),
    (Ink::Between, "between", 0x7c7a86, 0x9b99a8),
    (Ink::On, "on", 0xb8430f, 0xf08a52),
    (Ink::Lumped, "lumped", 0x4a0d5e, 0xe9c8f5),
    (Ink::Supply, "supply", 0x093e1b, 0x5ef09a),
    (Ink::Margin, "margin", 0xcfe8df, 0x1f4439),
    (Ink::P1, "p1", 0xf8ecdc, 0x4a3d2d),
    (Ink::P2, "p2", 0xf0cf9f, 0x7d5a28),
    (Ink::P3, "p3", 0xcf8a35, 0xd09140),
    (Ink::N1, "n1", 0xdfe9f3, 0x2b3b4b),
    (Ink::N2, "n2", 0xafcbe5, 0x35608a),
    (Ink::N3, "n3", 0x4f86bd, 0x6aa5dd),
    (Ink::Strong, "strong", 0x14161a, 0x14161a),
    (Ink::Oxide, "oxide", 0xcfcfd6, 0x62646d),
    (Ink::Metal, "metal", 0x33383f, 0xd5d8db),
    (Ink::Plate, "plate", 0x6f5a86, 0xb79ad6),
    (Ink::Junction, "junction", 0x1e2329, 0xf2efe8),
    (Ink::Mesh, "mesh", 0x3a4149, 0xcfd2d6),
];

/// Light and dark colours of results shown together, found by a search for the largest
/// smallest distance under the deficiencies of the tests below.
const SERIES: [(u32, u32); 8] = [
    (0x1f5f99, 0x6fb1ea),
    (0xb8430f, 0xf08a52),
    (0x129082, 0x35e0a0),
    (0x38007a, 0x9b72b7),
    (0x8b2f50, 0xce6362),
    (0x9477de, 0xb3d4fe),
    (0x4f2700, 0xf8c61f),
    (0x011521, 0xe8fbfd),
];

fn split(hex: u32) -> [u8; 3] {
    [(hex >> 16) as u8, (hex >> 8) as u8, hex as u8]
}

impl Ink {
    /// On light paper, sRGB.
    pub fn rgb(self) -> [u8; 3] {
        match self {
            Ink::Plain(rgb) => rgb,
            Ink::Series(k) => split(SERIES[k % SERIES.len()].0),
            _ => ROWS.iter().find(|r| r.0 == self).map_or([0; 3], |r| split(r.2)),
        }
    }

    /// As `#rrggbb`, on light paper.
    pub fn hex(self) -> String {
        let [r, g, b] = self.rgb();
        format!("#{r:02x}{g:02x}{b:02x}")
    }

    /// Name of its variable in the page; `None` for a plain colour.
    pub fn name(self) -> Option<String> {
        match self {
            Ink::Plain(_) => None,
            Ink::Series(k) => Some(format!("series{}", k % SERIES.len())),
            _ => ROWS.iter().find(|r| r.0 == self).map(|r| r.1.to_string()),
        }
    }
}

/// Relative luminance of WCAG 2.1.
fn luminance(rgb: [u8; 3]) -> f64 {
    let [r, g, b] = rgb.map(|c| {
        let c = f64::from(c) / 255.0;
        if c <= 0.03928 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    });
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// Dark or white, whichever has the larger contrast on a colour.
pub fn readable_on(rgb: [u8; 3]) -> [u8; 3] {
    let (dark, white) = ([20, 22, 26], [255, 255, 255]);
    let own = luminance(rgb) + 0.05;
    if own * own > (luminance(dark) + 0.05) * 1.05 { dark } else { white }
}

/// Variables and classes of all inks: classes `f-NAME` fill and `s-NAME` stroke.
pub fn style_sheet() -> String {
    let names: Vec<(String, u32, u32)> = ROWS
        .iter()
        .map(|r| (r.1.to_string(), r.2, r.3))
        .chain(SERIES.iter().enumerate().map(|(k, s)| (format!("series{k}"), s.0, s.1)))
        .collect();
    let vars = |pick: fn(&(String, u32, u32)) -> u32| -> String {
        names.iter().map(|n| format!("--{}:#{:06x};", n.0, pick(n))).collect()
    };
    let classes: String = names
        .iter()
        .map(|(n, ..)| format!(".f-{n}{{fill:var(--{n})}}.s-{n}{{stroke:var(--{n})}}"))
        .collect();
    format!(
        ":root{{{light}}}@media(prefers-color-scheme:dark){{:root{{{dark}}}}}\
         @media print{{:root{{{light}}}}}{classes}",
        light = vars(|n| n.1),
        dark = vars(|n| n.2),
    )
}

/// A colour scale of 256 steps.
pub type Ramp = [[u8; 3]; 256];

/// For magnitudes: from deep blue over rose to pale amber, lightness rising evenly.
pub fn magnitude() -> Ramp {
    even(|t| {
        let hue = 262.0 + 188.0 * t;
        let chroma = 0.055 + 0.13 * (std::f64::consts::PI * (0.12 + 0.76 * t)).sin().powf(1.2);
        [0.20 + 0.755 * t, chroma, hue]
    })
}

/// For signed values: 0 brown (negative), ½ near-white, 1 blue (positive), both arms alike
/// in lightness.
pub fn signed() -> Ramp {
    even(|t| {
        let arm = (2.0 * t - 1.0).abs();
        let hue = if t < 0.5 { 58.0 } else { 250.0 };
        [0.965 - 0.60 * arm, 0.150 * arm.powf(0.8), hue]
    })
}

/// Steps of equal length in OKLab along a path of (lightness, chroma, hue in degrees).
fn even(path: impl Fn(f64) -> [f64; 3]) -> Ramp {
    const FINE: usize = 4096;
    let at = |t: f64| in_gamut(path(t));
    let mut length = vec![0.0];
    let mut last = at(0.0);
    for k in 1..=FINE {
        let next = at(k as f64 / FINE as f64);
        let step = (0..3).map(|c| (next[c] - last[c]).powi(2)).sum::<f64>().sqrt();
        length.push(length[k - 1] + step);
        last = next;
    }
    let whole = length[FINE];
    std::array::from_fn(|k| {
        let want = whole * k as f64 / 255.0;
        let above = length.partition_point(|l| *l < want).clamp(1, FINE);
        let (low, high) = (length[above - 1], length[above]);
        let share = if high > low { (want - low) / (high - low) } else { 0.0 };
        srgb(at((above as f64 - 1.0 + share) / FINE as f64))
    })
}

/// OKLab of a (lightness, chroma, hue), its chroma reduced until sRGB holds it.
fn in_gamut([l, mut chroma, hue]: [f64; 3]) -> [f64; 3] {
    let (sin, cos) = hue.to_radians().sin_cos();
    for _ in 0..200 {
        let lab = [l, chroma * cos, chroma * sin];
        if linear(lab).iter().all(|c| (-1e-4..=1.0001).contains(c)) {
            return lab;
        }
        chroma *= 0.98;
    }
    [l, 0.0, 0.0]
}

/// OKLab to linear sRGB; matrices of the source above.
fn linear([l, a, b]: [f64; 3]) -> [f64; 3] {
    let cube = |v: f64| v * v * v;
    let l_ = cube(l + 0.3963377774 * a + 0.2158037573 * b);
    let m_ = cube(l - 0.1055613458 * a - 0.0638541728 * b);
    let s_ = cube(l - 0.0894841775 * a - 1.2914855480 * b);
    [
        4.0767416621 * l_ - 3.3077115913 * m_ + 0.2309699292 * s_,
        -1.2684380046 * l_ + 2.6097574011 * m_ - 0.3413193965 * s_,
        -0.0041960863 * l_ - 0.7034186147 * m_ + 1.7076147010 * s_,
    ]
}

fn srgb(lab: [f64; 3]) -> [u8; 3] {
    // Transfer function of IEC 61966-2-1.
    linear(lab).map(|c| {
        let c = c.clamp(0.0, 1.0);
        let v = if c <= 0.0031308 { 12.92 * c } else { 1.055 * c.powf(1.0 / 2.4) - 0.055 };
        (255.0 * v).round() as u8
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn magnitudes_grow_lighter_at_every_step() {
        let ramp = magnitude();
        assert!(ramp.windows(4).all(|w| luminance(w[0]) < luminance(w[3])));
        assert!(luminance(ramp[0]) < 0.02 && luminance(ramp[255]) > 0.75);
    }

    #[test]
    fn both_arms_of_signed_values_are_alike() {
        let ramp = signed();
        for k in [0, 40, 80, 120] {
            let (low, high) = (luminance(ramp[k]), luminance(ramp[255 - k]));
            assert!((low - high).abs() < 0.08, "{k}: {low} {high}");
        }
        assert!(luminance(ramp[128]) > 0.85);
        assert!(ramp[20][0] > ramp[20][2] && ramp[235][2] > ramp[235][0]);
    }

    #[test]
    fn text_reads_on_both_papers() {
        let contrast = |a: u32, b: u32| {
            let (a, b) = (luminance(split(a)), luminance(split(b)));
            (a.max(b) + 0.05) / (a.min(b) + 0.05)
        };
        let of = |ink: Ink| ROWS.iter().find(|r| r.0 == ink).unwrap();
        let words = of(Ink::Strong);
        for row in [of(Ink::P3), of(Ink::N3)] {
            assert!(contrast(row.2, words.2) > 4.5, "{} light", row.1);
            assert!(contrast(row.3, words.3) > 4.5, "{} dark", row.1);
        }
        let paper = of(Ink::Paper);
        for ink in [Ink::Text, Ink::Quiet, Ink::Off, Ink::On, Ink::Supply, Ink::Metal] {
            let row = of(ink);
            // WCAG 2.1, success criterion 1.4.3: 4.5 for text.
            assert!(contrast(row.2, paper.2) > 4.5, "{} light", row.1);
            assert!(contrast(row.3, paper.3) > 4.5, "{} dark", row.1);
        }
    }

    /// What a colour is to a dichromat: linear sRGB matrices for the full deficiency, G. M.
    /// Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15, 1291
    /// (2009); the digits from memory, each row adds to one.
    const SEEN: [(&str, [[f64; 3]; 3]); 4] = [
        ("full", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        (
            "protan",
            [
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ],
        ),
        (
            "deutan",
            [
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ],
        ),
        (
            "tritan",
            [
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ],
        ),
    ];

    /// OKLab of a colour as it is seen.
    fn seen(rgb: [u8; 3], by: &[[f64; 3]; 3]) -> [f64; 3] {
        let light = rgb.map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        });
        let times =
            |m: &[[f64; 3]; 3], v: [f64; 3]| m.map(|row| (0..3).map(|k| row[k] * v[k]).sum());
        let [r, g, b]: [f64; 3] = times(by, light).map(|c: f64| c.clamp(0.0, 1.0));
        let lms: [f64; 3] = [
            0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b,
            0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b,
            0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b,
        ];
        let lab = [
            [0.2104542553, 0.7936177850, -0.0040720468],
            [1.9779984951, -2.4285922050, 0.4505937099],
            [0.0259040371, 0.7827717662, -0.8086757660],
        ];
        times(&lab, lms.map(f64::cbrt))
    }

    fn apart(a: [u8; 3], b: [u8; 3], by: &[[f64; 3]; 3]) -> f64 {
        let (a, b) = (seen(a, by), seen(b, by));
        (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
    }

    #[test]
    fn lines_are_kept_apart_by_every_eye() {
        let parts = [Ink::Off, Ink::Between, Ink::On, Ink::Lumped, Ink::Supply];
        let parts = parts.map(|i| ROWS.iter().find(|r| r.0 == i).map(|r| (r.2, r.3)).unwrap());
        // 0.02 is about the least that is seen side by side.
        for (list, least) in [(parts.as_slice(), 0.08), (SERIES.as_slice(), 0.09)] {
            for (name, by) in SEEN {
                for (k, a) in list.iter().enumerate() {
                    for b in &list[k + 1..] {
                        for (a, b) in [(a.0, b.0), (a.1, b.1)] {
                            let d = apart(split(a), split(b), &by);
                            assert!(d >= least, "{name}: #{a:06x} and #{b:06x} are {d:.3} apart");
                        }
                    }
                }
            }
        }
        // A line is seen on its paper: WCAG 2.1, success criterion 1.4.11, asks for 3.
        let paper = ROWS.iter().find(|r| r.0 == Ink::Paper).map(|r| (r.2, r.3)).unwrap();
        for (light, dark) in parts.into_iter().chain(SERIES) {
            for (line, paper) in [(light, paper.0), (dark, paper.1)] {
                let (a, b) = (luminance(split(line)), luminance(split(paper)));
                let contrast = (a.max(b) + 0.05) / (a.min(b) + 0.05);
                assert!(contrast > 3.0, "#{line:06x}: {contrast:.2}");
            }
        }
    }

    #[test]
    fn scales_rise_in_lightness_to_every_eye_and_in_print() {
        for (name, by) in SEEN {
            let ramp = magnitude().map(|c| seen(c, &by)[0]);
            assert!(ramp.windows(3).all(|w| w[2] > w[0]), "{name}: magnitudes");
            assert!(ramp[255] - ramp[0] > 0.6, "{name}: {} to {}", ramp[0], ramp[255]);
            let ramp = signed().map(|c| seen(c, &by)[0]);
            let rises = ramp[..126].windows(5).all(|w| w[4] > w[0]);
            assert!(rises && ramp[130..].windows(5).all(|w| w[4] < w[0]), "{name}: signed values");
            // Both signs are told apart by hue.
            for k in [0, 30, 60] {
                let d = apart(signed()[k], signed()[255 - k], &by);
                assert!(d > 0.1, "{name}: ±{k} are {d:.3} apart");
            }
        }
    }
}
