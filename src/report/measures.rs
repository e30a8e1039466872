//! How well announced beats fit the true ones.
//!
//! Beat measures are those of Davies, Degara & Plumbley, "Evaluation Methods for
//! Musical Audio Beat Tracking Algorithms", Technical Report C4DM-TR-09-06,
//! Queen Mary University of London, 2009, in the reading of the Python package
//! `mir_eval` 0.8 (Raffel et al., ISMIR 2014), which a script under `tests/`
//! compares them with. All times are seconds, ascending.

/// Half-width of the window in which a beat counts as hit, seconds.
pub const HIT_WINDOW: f64 = 0.070;
/// Largest phase and period error for a beat to count as continuous, share of a beat.
const CONTINUITY: f64 = 0.175;

/// The largest set of pairs `(true, announced)` within `window` seconds, each
/// time used once. On a line the earliest possible partner is always a best one.
pub fn matches(truth: &[f64], announced: &[f64], window: f64) -> Vec<(f64, f64)> {
    let mut pairs = Vec::new();
    let (mut i, mut j) = (0, 0);
    while let (Some(&t), Some(&a)) = (truth.get(i), announced.get(j)) {
        // As `mir_eval` writes it: at just the window's edge, rounding decides.
        if a - window <= t && t <= a + window {
            pairs.push((t, a));
            i += 1;
            j += 1;
        } else if t < a {
            i += 1;
        } else {
            j += 1;
        }
    }
    pairs
}

/// Harmonic mean of precision and recall with hits within `window` seconds;
/// 0 when either list is empty.
pub fn f_measure(truth: &[f64], announced: &[f64], window: f64) -> f64 {
    let hits = matches(truth, announced, window).len();
    if hits == 0 {
        return 0.0;
    }
    let precision = hits as f64 / announced.len() as f64;
    let recall = hits as f64 / truth.len() as f64;
    2.0 * precision * recall / (precision + recall)
}

/// Continuity measures, each a share from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Continuity {
    /// Longest continuous stretch at the correct metrical level.
    pub cml_c: f64,
    /// All continuous beats at the correct metrical level.
    pub cml_t: f64,
    /// Longest continuous stretch at any allowed level: also off-beat, double or half time.
    pub aml_c: f64,
    /// All continuous beats at any allowed level.
    pub aml_t: f64,
}

/// Continuity of `announced` against `truth`; zero with fewer than two beats in
/// either.
pub fn continuity(truth: &[f64], announced: &[f64]) -> Continuity {
    if truth.len() < 2 || announced.len() < 2 {
        return Continuity::default();
    }
    let doubled: Vec<f64> = (0..2 * truth.len() - 1)
        .map(|k| match k % 2 {
            0 => truth[k / 2],
            _ => truth[k / 2] + 0.5 * (truth[k / 2 + 1] - truth[k / 2]),
        })
        .collect();
    let every_other =
        |times: &[f64], first: usize| times.iter().skip(first).step_by(2).copied().collect();
    let off_beats: Vec<f64> = every_other(&doubled, 1);
    let odd: Vec<f64> = every_other(truth, 0);
    let even: Vec<f64> = every_other(truth, 1);

    let (cml_c, cml_t) = continuous(truth, announced);
    let mut result = Continuity {
        cml_c,
        cml_t,
        aml_c: cml_c,
        aml_t: cml_t,
    };
    for level in [&off_beats, &doubled, &odd, &even] {
        let (longest, all) = continuous(level, announced);
        result.aml_c = result.aml_c.max(longest);
        result.aml_t = result.aml_t.max(all);
    }
    result
}

/// Longest stretch and total of beats right in phase and period, as shares of
/// the longer of the two lists.
fn continuous(truth: &[f64], announced: &[f64]) -> (f64, f64) {
    let most = truth.len().max(announced.len());
    let mut used = vec![false; truth.len()];
    let (mut total, mut run, mut longest) = (0usize, 0usize, 0usize);
    for (m, &beat) in announced.iter().enumerate() {
        let nearest = nearest(truth, beat);
        let right = !used[nearest] && truth.len() > 1 && {
            // The first beat has no interval before it: look ahead instead.
            let ahead = m == 0 || nearest == 0;
            let true_interval = interval(truth, nearest, ahead);
            let own_interval = interval(announced, m, ahead);
            let phase = (beat - truth[nearest]).abs() / true_interval;
            let period = (1.0 - own_interval / true_interval).abs();
            phase < CONTINUITY && period < CONTINUITY
        };
        if right {
            used[nearest] = true;
            total += 1;
            run += 1;
            longest = longest.max(run);
        } else {
            run = 0;
        }
    }
    (longest as f64 / most as f64, total as f64 / most as f64)
}

/// The interval after (`ahead`) or before the `k`-th time; at an end the other one.
fn interval(times: &[f64], k: usize, ahead: bool) -> f64 {
    if (ahead && k + 1 < times.len()) || k == 0 {
        times[k + 1] - times[k]
    } else {
        times[k] - times[k - 1]
    }
}

/// Index of the time nearest to `t`, the earlier on a tie. `times` is not empty.
fn nearest(times: &[f64], t: f64) -> usize {
    let after = times.partition_point(|&x| x < t);
    match after {
        0 => 0,
        n if n == times.len() => n - 1,
        n if t - times[n - 1] <= times[n] - t => n - 1,
        n => n,
    }
}

/// Lasting wrong readings of the beat, as shares of the announced beats.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct WrongLocks {
    /// Near the middle between two true beats.
    pub half_off: f64,
    /// Near a third or two thirds of the way.
    pub third_off: f64,
    /// At about double or half the true tempo.
    pub wrong_level: f64,
}

/// Shares of `announced` beats that fall on wrong places, within a tenth of a
/// beat of half or a third of the way between true beats, or whose interval is
/// near double or half the true one.
pub fn wrong_locks(truth: &[f64], announced: &[f64]) -> WrongLocks {
    let mut wrong = WrongLocks::default();
    if truth.len() < 2 || announced.is_empty() {
        return wrong;
    }
    let each = 1.0 / announced.len() as f64;
    for (m, &beat) in announced.iter().enumerate() {
        let after = truth.partition_point(|&x| x <= beat);
        if after == 0 || after == truth.len() {
            continue;
        }
        let true_interval = truth[after] - truth[after - 1];
        if m > 0 {
            let ratio = (beat - announced[m - 1]) / true_interval;
            if (ratio - 2.0).abs() < 0.2 || (ratio - 0.5).abs() < 0.1 {
                wrong.wrong_level += each;
            }
        }
        let phase = (beat - truth[after - 1]) / true_interval;
        if (phase - 0.5).abs() < 0.08 {
            wrong.half_off += each;
        } else if (phase - 1.0 / 3.0).abs() < 0.08 || (phase - 2.0 / 3.0).abs() < 0.08 {
            wrong.third_off += each;
        }
    }
    wrong
}

/// The `share`-quantile (0 to 1) of `values`, by linear interpolation between
/// order statistics; `None` when there are none.
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted: Vec<f64> = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let at = share.clamp(0.0, 1.0) * last as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(last);
    Some(sorted[below] + (at - below as f64) * (sorted[above] - sorted[below]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beats(from: f64, every: f64, count: usize) -> Vec<f64> {
        (0..count).map(|k| from + every * k as f64).collect()
    }

    #[test]
    fn perfect_beats_are_perfect() {
        let truth = beats(1.0, 0.5, 40);
        assert_eq!(f_measure(&truth, &truth, HIT_WINDOW), 1.0);
        let c = continuity(&truth, &truth);
        assert_eq!((c.cml_c, c.cml_t, c.aml_c, c.aml_t), (1.0, 1.0, 1.0, 1.0));
    }

    #[test]
    fn off_beats_are_right_only_at_any_level() {
        let truth = beats(1.0, 0.5, 40);
        let off = beats(1.25, 0.5, 39);
        assert_eq!(f_measure(&truth, &off, HIT_WINDOW), 0.0);
        let c = continuity(&truth, &off);
        assert_eq!(c.cml_t, 0.0);
        assert_eq!(c.aml_t, 1.0);
        assert!((wrong_locks(&truth, &off).half_off - 1.0).abs() < 1e-9);
    }

    #[test]
    fn thirds_and_levels_are_counted() {
        let truth = beats(1.0, 0.6, 40);
        let third = beats(1.2, 0.6, 39);
        assert!((wrong_locks(&truth, &third).third_off - 1.0).abs() < 1e-9);
        let double = beats(1.0, 0.3, 78);
        assert!(wrong_locks(&truth, &double).wrong_level > 0.9);
    }

    #[test]
    fn misses_and_extras_cost_recall_and_precision() {
        let truth = beats(0.0, 1.0, 4);
        let heard = [0.0, 1.05, 1.5, 3.2];
        // Two hits of four true and four announced.
        assert!((f_measure(&truth, &heard, HIT_WINDOW) - 0.5).abs() < 1e-12);
        assert_eq!(f_measure(&truth, &[], HIT_WINDOW), 0.0);
    }

    #[test]
    fn the_edge_of_the_window_is_within() {
        // 2.67 - 2.6 is more than 0.07 in floating point, 2.67 - 0.07 is 2.6.
        assert_eq!(f_measure(&[2.6], &[2.67], HIT_WINDOW), 1.0);
        assert_eq!(f_measure(&[2.6], &[2.671], HIT_WINDOW), 0.0);
    }

    #[test]
    fn quantiles_interpolate() {
        assert_eq!(quantile(&[3.0, 1.0, 2.0], 0.5), Some(2.0));
        assert_eq!(quantile(&[0.0, 10.0], 0.95), Some(9.5));
        assert_eq!(quantile(&[], 0.5), None);
    }
}
