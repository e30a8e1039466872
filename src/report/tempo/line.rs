//! Straight lines through points some of which are wrong.
//!
//! Weighted least squares, repeated: each round a point far from the line gets
//! less weight, by Tukey's bisquare function of its distance in robust standard
//! deviations (Mosteller & Tukey, *Data Analysis and Regression*, 1977, chapter
//! 10, tuning constant 4.685 as in Holland & Welsch, "Robust regression using
//! iteratively reweighted least-squares", *Communications in Statistics* A6,
//! 1977). The robust standard deviation is 1.4826 times the median absolute
//! distance (Rousseeuw & Croux, "Alternatives to the median absolute deviation",
//! *JASA* 88, 1993). The first line is the median of slopes between points half a
//! run apart, after Theil (1950) and Sen (*JASA* 63, 1968), who take all pairs.

use crate::report::measures::quantile;

/// Rounds after the first line: the weights hardly move after the fourth.
const ROUNDS: usize = 6;
/// Robust standard deviations beyond which a point has no weight.
const CUT: f64 = 4.685;
/// Neighbours on each side by which a point of a long run is judged.
const NEIGHBOURS: usize = 8;
/// From a median absolute distance to a standard deviation.
const NORMAL: f64 = 1.4826;

/// A point of a run; runs share their slope but not their height.
#[derive(Debug, Clone, Copy)]
pub(super) struct Point {
    pub x: f64,
    pub y: f64,
    pub run: u32,
}

/// A line, as far as it is asked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    pub slope: f64,
    /// Standard error of the slope; 0 for two points.
    pub error: f64,
    /// Standard deviation of the points about the line.
    pub spread: f64,
}

/// The slope that the runs of `points` share. `None` without two points of one
/// run that differ in `x`. Points of a run are neighbours and ascend in `x`.
pub(super) fn fit(points: &[Point]) -> Option<Fit> {
    let runs: Vec<&[Point]> = points.chunk_by(|a, b| a.run == b.run).collect();
    let mut slope = first_slope(&runs)?;
    let mut weights = vec![1.0; points.len()];
    let mut fit = None;
    for _ in 0..ROUNDS {
        let distances = distances(&runs, slope);
        let sizes: Vec<f64> = distances.iter().map(|d| d.abs()).collect();
        let spread = NORMAL * quantile(&sizes, 0.5)?;
        // With points exactly on the line there is nothing to be told apart.
        let cut = CUT * spread.max(1e-9);
        for (weight, distance) in weights.iter_mut().zip(&distances) {
            let share = (distance / cut).clamp(-1.0, 1.0);
            *weight = (1.0 - share * share).powi(2);
        }
        let Some(next) = least_squares(&runs, &weights) else {
            break;
        };
        slope = next.slope;
        fit = Some(next);
    }
    // Two points: the line between them.
    fit.or(Some(Fit {
        slope,
        error: 0.0,
        spread: 0.0,
    }))
}

/// The same by plain least squares: every point is meant.
pub(super) fn plain_fit(points: &[Point]) -> Option<Fit> {
    let runs: Vec<&[Point]> = points.chunk_by(|a, b| a.run == b.run).collect();
    least_squares(&runs, &vec![1.0; points.len()])
}

fn first_slope(runs: &[&[Point]]) -> Option<f64> {
    let mut slopes = Vec::new();
    for run in runs {
        let half = (run.len() / 2).max(1);
        for (a, b) in run.iter().zip(&run[half.min(run.len())..]) {
            if b.x > a.x {
                slopes.push((b.y - a.y) / (b.x - a.x));
            }
        }
    }
    quantile(&slopes, 0.5)
}

/// How far each point lies above where its run would have it: above the line in a
/// short run, above its neighbours in a long one. A band that speeds up bends the
/// whole run away from any line, and none of its beats is wrong for that.
fn distances(runs: &[&[Point]], slope: f64) -> Vec<f64> {
    let mut distances = Vec::new();
    for run in runs {
        // From the run's first point: seconds may be many.
        let above: Vec<f64> = run
            .iter()
            .map(|p| (p.y - run[0].y) - slope * (p.x - run[0].x))
            .collect();
        if run.len() > 2 * NEIGHBOURS {
            let bent = |k| above[k] - by_neighbours(&above, k);
            distances.extend((0..above.len()).map(bent));
        } else {
            let height = quantile(&above, 0.5).unwrap_or(0.0);
            distances.extend(above.iter().map(|a| a - height));
        }
    }
    distances
}

/// Where the neighbours of `values[k]` would have it: the median of the middles
/// between those before and those after it, at the ends of lines through those on
/// one side.
fn by_neighbours(values: &[f64], k: usize) -> f64 {
    let at = |steps: isize| -> Option<f64> { values.get(k.checked_add_signed(steps)?).copied() };
    let guess = |by: isize| match (at(-by), at(by)) {
        (Some(before), Some(after)) => Some(0.5 * (before + after)),
        (None, Some(near)) => Some(2.0 * near - at(2 * by)?),
        (Some(near), None) => Some(2.0 * near - at(-2 * by)?),
        (None, None) => None,
    };
    let guesses: Vec<f64> = (1..=NEIGHBOURS as isize).filter_map(guess).collect();
    quantile(&guesses, 0.5).unwrap_or(values[k])
}

fn least_squares(runs: &[&[Point]], weights: &[f64]) -> Option<Fit> {
    let (mut xx, mut xy, mut yy, mut sum, mut heights) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let mut at = 0;
    for run in runs {
        let w = &weights[at..at + run.len()];
        at += run.len();
        let all: f64 = w.iter().sum();
        if run.len() < 2 || all <= 0.0 {
            continue;
        }
        let mean =
            |of: fn(&Point) -> f64| run.iter().zip(w).map(|(p, w)| w * of(p)).sum::<f64>() / all;
        let (x, y) = (mean(|p| p.x), mean(|p| p.y));
        for (p, w) in run.iter().zip(w) {
            let (dx, dy) = (p.x - x, p.y - y);
            xx += w * dx * dx;
            xy += w * dx * dy;
            yy += w * dy * dy;
        }
        sum += all;
        heights += 1.0;
    }
    if xx <= 0.0 {
        return None;
    }
    let slope = xy / xx;
    let free = sum - heights - 1.0;
    if free <= 0.0 {
        return None;
    }
    let variance = ((yy - slope * xy) / free).max(0.0);
    Some(Fit {
        slope,
        error: (variance / xx).sqrt(),
        spread: variance.sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(of: impl Fn(f64) -> f64, count: u32, run: u32) -> Vec<Point> {
        (0..count)
            .map(|k| Point {
                x: f64::from(k),
                y: of(f64::from(k)),
                run,
            })
            .collect()
    }

    #[test]
    fn a_line_is_found_through_wrong_points() {
        let mut line = points(|x| 3.0 + 2.0 * x, 40, 0);
        for k in [3, 11, 12, 25, 38, 39] {
            line[k].y += 9.0;
        }
        let fit = fit(&line).unwrap();
        assert!((fit.slope - 2.0).abs() < 1e-9, "{fit:?}");
        assert!(fit.error < 1e-6);
    }

    #[test]
    fn runs_share_the_slope_only() {
        let mut both = points(|x| 0.5 * x, 10, 0);
        both.extend(points(|x| 700.0 + 0.5 * x, 10, 1));
        let fit = fit(&both).unwrap();
        assert!(
            (fit.slope - 0.5).abs() < 1e-9 && fit.spread < 1e-6,
            "{fit:?}"
        );
    }

    #[test]
    fn the_standard_error_is_that_of_a_plain_fit() {
        // y = x with distances +1 −1 −1 +1: slope 1, s² = 4 / 2, Sxx = 5.
        let line = points(|x| x + if x == 0.0 || x == 3.0 { 1.0 } else { -1.0 }, 4, 0);
        let fit = fit(&line).unwrap();
        assert!((fit.slope - 1.0).abs() < 1e-9, "{fit:?}");
        let plain = (2.0f64 / 5.0).sqrt();
        assert!((fit.error / plain - 1.0).abs() < 0.1, "{fit:?}, {plain}");
    }

    #[test]
    fn too_few_points_make_no_line() {
        assert!(fit(&[]).is_none());
        assert!(fit(&points(|x| x, 1, 0)).is_none());
        let two = fit(&points(|x| 4.0 * x, 2, 0)).unwrap();
        assert_eq!((two.slope, two.error), (4.0, 0.0));
    }
}
