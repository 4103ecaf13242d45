//! Labels side by side without overlap.

/// For each label its row and centre. Labels of these widths, sorted by the centres they
/// want, keep a gap and stay within [low, high]; where one row cannot hold them all, they
/// take turns in two or more.
pub fn apart(wanted: &[f64], widths: &[f64], gap: f64, low: f64, high: f64) -> Vec<(usize, f64)> {
    let whole: f64 = widths.iter().map(|w| w + gap).sum();
    let rows = (whole / (high - low).max(1.0)).ceil().clamp(1.0, 6.0) as usize;
    let mut out = vec![(0, 0.0); wanted.len()];
    for row in 0..rows {
        let mine: Vec<usize> = (row..wanted.len()).step_by(rows).collect();
        let of = |list: &[f64]| -> Vec<f64> {
            mine.iter().map(|k| list.get(*k).copied().unwrap_or(0.0)).collect()
        };
        for (k, x) in mine.iter().zip(one_row(&of(wanted), &of(widths), gap, low, high)) {
            out[*k] = (row, x);
        }
    }
    out
}

/// Least squares under "keeps its distance": neighbours that collide move as one block,
/// to the mean of what they want (pool adjacent violators).
fn one_row(wanted: &[f64], widths: &[f64], gap: f64, low: f64, high: f64) -> Vec<f64> {
    // Offsets from the first label if all stood shoulder to shoulder.
    let mut offset = vec![0.0; wanted.len()];
    for k in 1..wanted.len() {
        offset[k] = offset[k - 1] + 0.5 * (widths[k - 1] + widths[k]) + gap;
    }
    let mut blocks: Vec<(f64, usize)> = Vec::new();
    for k in 0..wanted.len() {
        let mut block = (wanted[k] - offset[k], 1);
        while let Some(&(mean, count)) = blocks.last() {
            if mean <= block.0 {
                break;
            }
            blocks.pop();
            let all = count + block.1;
            block = ((mean * count as f64 + block.0 * block.1 as f64) / all as f64, all);
        }
        blocks.push(block);
    }
    let starts = blocks.iter().flat_map(|(mean, count)| std::iter::repeat_n(*mean, *count));
    let last = widths.len().saturating_sub(1);
    let (Some(first), Some(end)) = (widths.first(), widths.get(last)) else { return Vec::new() };
    let (least, most) = (low + 0.5 * first, high - 0.5 * end - offset[last]);
    starts.zip(&offset).map(|(s, o)| s.min(most).max(least) + o).collect()
}

#[cfg(test)]
mod tests {
    use super::apart;

    #[test]
    fn labels_keep_their_distance_and_stay_inside() {
        let wanted = [10.0, 12.0, 14.0, 90.0];
        let widths = [20.0; 4];
        let placed = apart(&wanted, &widths, 2.0, 0.0, 100.0);
        assert!(placed.iter().all(|p| p.0 == 0));
        let x: Vec<f64> = placed.iter().map(|p| p.1).collect();
        assert!(x.windows(2).all(|w| w[1] - w[0] >= 22.0 - 1e-9), "{x:?}");
        assert!(x[0] >= 10.0 - 1e-9 && x[3] <= 90.0 + 1e-9);
    }

    #[test]
    fn too_many_take_turns() {
        let wanted: Vec<f64> = (0..12).map(f64::from).collect();
        let placed = apart(&wanted, &[20.0; 12], 2.0, 0.0, 100.0);
        assert!(placed.iter().map(|p| p.0).max() == Some(2));
        for row in 0..3 {
            let x: Vec<f64> = placed.iter().filter(|p| p.0 == row).map(|p| p.1).collect();
            assert!(x.windows(2).all(|w| w[1] - w[0] >= 22.0 - 1e-9), "{x:?}");
        }
        assert!(apart(&[], &[], 2.0, 0.0, 1.0).is_empty());
    }
}
