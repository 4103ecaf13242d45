//! One axis of the mesh: from wishes about the spacing to graded lines with fixed ones
//! among them.

use super::smooth::smooth;

/// Most lines on one axis: beyond it the wishes contradict each other.
const MOST_LINES: usize = 20_000;
/// Extra lines tried, axis by axis, until the growth bound holds.
const REPAIRS: usize = 120;

/// Between a and b \[µm\] the spacing is at most max(scale·h, floor); beside it the
/// spacing may grow. A point has a = b.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Band {
    pub a: f64,
    pub b: f64,
    /// Wished spacing at scale 1 [µm].
    pub h: f64,
    /// Never asked to be finer than this [µm].
    pub floor: f64,
    /// One of the many edges of a layout: coarse meshes give these up first.
    pub edge: bool,
}

impl Band {
    /// The spacing wished inside the band [µm].
    fn spacing(&self, scale: f64) -> f64 {
        let more = if self.edge { (scale / COARSE_FROM).max(1.0) } else { 1.0 };
        (scale * more * self.h).max(self.floor)
    }
}

/// What one axis has to resolve.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Wish {
    /// Exactly on lines \[µm\], growing; the first and last are the ends.
    pub fixed: Vec<f64>,
    pub bands: Vec<Band>,
}

/// How fine: the same for both axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Fineness {
    /// Multiplies every wished spacing.
    pub scale: f64,
    /// Largest ratio of neighbouring intervals.
    pub growth: f64,
}

/// Growth of the spacing per length at scale 1; it shrinks with the scale so that a
/// larger budget refines everywhere, and saturates at the growth bound.
const GROWTH_AT_ONE: f64 = 0.17;
/// From this scale on, edges coarsen faster than the rest.
const COARSE_FROM: f64 = 2.0;
/// Part of ln(growth) that the wishes use; the rest smooths what fixed lines disturb.
const SHARE: f64 = 0.85;

impl Wish {
    /// Lines \[µm\], strictly growing. `None` if the growth bound cannot be kept, or only
    /// with far too many lines.
    pub fn lines(&self, fine: Fineness) -> Option<Vec<f64>> {
        if self.fixed.len() < 2 {
            return None;
        }
        let slope = (fine.scale * GROWTH_AT_ONE).min(SHARE * fine.growth.ln());
        let size = Size { wish: self, scale: fine.scale, slope, bands: self.cut_bands() };
        let segments: Vec<Segment> =
            self.fixed.windows(2).map(|w| Segment::new(&size, w[0], w[1])).collect();
        // Ties of a mirrored axis differ by rounding only: they must round alike.
        let mut counts: Vec<usize> =
            segments.iter().map(|s| ((s.total() - 1e-6).round().max(1.0)) as usize).collect();
        for _ in 0..REPAIRS {
            if counts.iter().sum::<usize>() > MOST_LINES {
                return None;
            }
            let wished: Vec<Vec<f64>> =
                segments.iter().zip(&counts).map(|(s, n)| s.log_sizes(&size, *n)).collect();
            let lengths: Vec<f64> = segments.iter().map(|s| s.b - s.a).collect();
            let sizes = smooth(&wished, &lengths, fine.growth.ln());
            let bad = crowded(&sizes, &wished, fine.growth);
            if bad.is_empty() {
                return Some(self.place(&sizes));
            }
            for k in bad {
                counts[k] += 1;
            }
        }
        None
    }

    /// The wished bands and one that keeps every interval inside its segment.
    fn cut_bands(&self) -> Vec<Band> {
        let own = self.fixed.windows(2).map(|w| Band {
            a: w[0],
            b: w[1],
            h: 0.0,
            floor: w[1] - w[0],
            edge: false,
        });
        self.bands.iter().copied().chain(own).collect()
    }

    fn place(&self, sizes: &[Vec<f64>]) -> Vec<f64> {
        let mut out = vec![self.fixed[0]];
        for (w, list) in self.fixed.windows(2).zip(sizes) {
            let total: f64 = list.iter().sum();
            // From both ends to the middle, so that mirrored segments round alike.
            let n = list.len();
            for k in 1..n {
                let x = if 2 * k <= n {
                    w[0] + (w[1] - w[0]) * (list[..k].iter().sum::<f64>() / total)
                } else {
                    w[1] - (w[1] - w[0]) * (list[k..].iter().rev().sum::<f64>() / total)
                };
                out.push(x);
            }
            out.push(w[1]);
        }
        out
    }
}

/// Segments that need one more interval, at the neighbouring pair that grows fastest
/// (several only if they tie, as in a mirrored axis).
///
/// The larger interval of the pair is to shrink. If its segment already has more
/// intervals than wished, compared with the next segment on that side, another one
/// there would only push its neighbours: then the next segment takes it.
fn crowded(sizes: &[Vec<f64>], wished: &[Vec<f64>], growth: f64) -> Vec<usize> {
    let flat: Vec<(usize, f64)> =
        sizes.iter().enumerate().flat_map(|(k, list)| list.iter().map(move |s| (k, *s))).collect();
    let excess = |w: &[(usize, f64)]| {
        let ratio = w[1].1 / w[0].1;
        // Negative sizes and what is not a number break the bound too.
        if ratio > 0.0 { ratio.max(1.0 / ratio) / growth } else { f64::INFINITY }
    };
    let worst = flat.windows(2).map(excess).fold(0.0, f64::max);
    if worst <= 1.0 + 1e-9 {
        return Vec::new();
    }
    let stretch = |k: usize| {
        let wish: f64 = wished[k].iter().map(|v| v.exp()).sum();
        sizes[k].iter().sum::<f64>() / wish
    };
    let choose = |w: &[(usize, f64)]| {
        let up = w[1].1 > w[0].1;
        let k = if up { w[1].0 } else { w[0].0 };
        let next = if up { k + 1 } else { k.wrapping_sub(1) };
        if next < sizes.len() && stretch(next) > stretch(k) { next } else { k }
    };
    let mut bad: Vec<usize> =
        flat.windows(2).filter(|w| excess(w) >= worst * (1.0 - 1e-6)).map(choose).collect();
    bad.sort_unstable();
    bad.dedup();
    bad
}

/// The wished spacing as a function of place.
struct Size<'a> {
    wish: &'a Wish,
    scale: f64,
    slope: f64,
    bands: Vec<Band>,
}

impl Size<'_> {
    fn at(&self, x: f64) -> f64 {
        let mut size = self.wish.fixed.last().unwrap_or(&0.0) - self.wish.fixed[0];
        for band in &self.bands {
            let away = (band.a - x).max(x - band.b).max(0.0);
            size = size.min(band.spacing(self.scale) + self.slope * away);
        }
        size
    }
}

/// A piece between two fixed lines with its cumulative number of intervals.
struct Segment {
    a: f64,
    b: f64,
    /// Places and the intervals wished up to there.
    places: Vec<f64>,
    cumulative: Vec<f64>,
}

impl Segment {
    fn new(size: &Size, a: f64, b: f64) -> Segment {
        let mut segment = Segment { a, b, places: vec![a], cumulative: vec![0.0] };
        segment.integrate(size, a, b, 0);
        segment
    }

    /// Halves until a piece is short against the spacing: the same cuts from both ends.
    fn integrate(&mut self, size: &Size, a: f64, b: f64, depth: u32) {
        let mid = 0.5 * (a + b);
        let h = size.at(mid);
        // A cone cannot hide inside a piece that is short against the spacing it lets
        // its middle have.
        if b - a > 0.25 * h && depth < 24 {
            self.integrate(size, a, mid, depth + 1);
            self.integrate(size, mid, b, depth + 1);
        } else {
            let before = self.total();
            self.places.push(b);
            self.cumulative.push(before + (b - a) / h);
        }
    }

    fn total(&self) -> f64 {
        self.cumulative.last().copied().unwrap_or(0.0)
    }

    /// ln of the wished spacing at the middles of n intervals that share the wish evenly.
    fn log_sizes(&self, size: &Size, n: usize) -> Vec<f64> {
        let at = |target: f64| {
            let k = self
                .cumulative
                .partition_point(|c| *c < target)
                .clamp(1, self.cumulative.len() - 1);
            let (c0, c1) = (self.cumulative[k - 1], self.cumulative[k]);
            let t = if c1 > c0 { (target - c0) / (c1 - c0) } else { 0.0 };
            self.places[k - 1] + t * (self.places[k] - self.places[k - 1])
        };
        (0..n).map(|k| size.at(at(self.total() * (k as f64 + 0.5) / n as f64)).ln()).collect()
    }
}
