use super::*;
use crate::hear::zones::{Factors, ZONE};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg32;

/// What windows are to do, done plainly: a list of positions for each mode and tempo.
struct Plain(Vec<Vec<Vec<f32>>>);

impl Plain {
    fn move_on(&mut self, change: &impl Fn(usize, usize) -> f32) {
        for mode in (0..self.0.len()).rev() {
            let mut later = Vec::new();
            let tempi = self.0[mode].len();
            for (from, row) in self.0[mode].iter_mut().enumerate() {
                row.rotate_right(STEPS_PER_FRAME);
                let near = from.saturating_sub(REACH)..tempi.min(from + REACH + 1);
                let all: f32 = near.clone().map(|to| change(from, to)).sum();
                for (position, state) in row[..STEPS_PER_FRAME].iter_mut().enumerate() {
                    let moved = std::mem::take(state);
                    later.extend(
                        near.clone()
                            .map(|to| (to, position, moved * change(from, to) / all)),
                    );
                }
            }
            let next = (mode + 1).min(self.0.len() - 1);
            for (to, position, moved) in later {
                self.0[next][to][position] += moved;
            }
        }
    }

    fn weigh(&mut self, beat: &Factors, half: &Factors, third: &Factors) {
        for row in self.0.iter_mut().flatten() {
            let n = row.len();
            for (centre, factors) in [(n, beat), (n / 2, half), (n / 3, third), (2 * n / 3, third)]
            {
                for (k, factor) in factors.iter().enumerate() {
                    row[(centre + k - ZONE) % n] *= factor;
                }
            }
        }
    }
}

#[test]
fn windows_do_what_plain_lists_do() {
    let lengths: Vec<usize> = (81..=140).step_by(3).collect();
    let change = |from: usize, to: usize| 1.0 / (1.0 + from.abs_diff(to) as f32);
    let mut grid = Grid::new(&lengths, change);
    let prior = vec![1.0 / lengths.len() as f32; lengths.len()];
    let mut shares: Vec<Share> = (0..3).map(|_| Share::new(&grid)).collect();
    let mut plain = Plain(vec![
        lengths.iter().map(|n| vec![0.0; *n]).collect();
        shares.len()
    ]);
    let mut dice = Pcg32::seed_from_u64(5);
    for frame in 0..400 {
        grid.move_on(&mut shares);
        plain.move_on(&change);
        let mut factors = || -> Factors { std::array::from_fn(|_| dice.random_range(0.8..1.2)) };
        let (beat, half, third) = (factors(), factors(), factors());
        let zones = Zones::new(&beat, &half, &third);
        shares
            .iter_mut()
            .for_each(|share| share.weigh(&grid, &zones));
        plain.weigh(&beat, &half, &third);
        if frame % 30 == 0 {
            shares[0].enter(&grid, &prior, 1.0);
            plain.0[0].iter_mut().for_each(|row| row[0] += prior[0]);
        }
        if frame == 200 {
            shares[1].clear();
            plain.0[1].iter_mut().for_each(|row| row.fill(0.0));
        }
        if frame % 50 == 0 {
            shares[2].scale *= 0.5;
            plain.0[2]
                .iter_mut()
                .flatten()
                .for_each(|state| *state *= 0.5);
            shares[2].renew(&grid);
        }
        for (share, rows) in shares.iter().zip(&plain.0) {
            let near = |a: f32, b: f32| (a - b).abs() < 1e-4 * b.abs().max(1e-3);
            let all: f32 = rows.iter().flatten().sum();
            assert!(
                near(share.mass(), all),
                "{frame}: {} of {all}",
                share.mass()
            );
            let mut histogram = vec![0.0; 141];
            share.next_beats(&grid, &mut histogram);
            for (ahead, bin) in histogram.iter().enumerate() {
                let at = |row: &Vec<f32>| row.get(row.len().wrapping_sub(ahead)).copied();
                let sum: f32 = rows.iter().filter_map(at).sum();
                assert!(near(*bin, sum), "{frame}: {bin}, not {sum}, {ahead} ahead");
            }
        }
    }
}

#[test]
fn moments_are_sums_over_positions_near_the_beat() {
    let mut grid = Grid::new(&[90, 100], |_, _| 1.0);
    let mut shares = [Share::new(&grid)];
    shares[0].spread(&grid, &[0.25, 0.75], 1.0);
    for _ in 0..31 {
        grid.move_on(&mut shares);
    }
    for (low, high) in [(-20, 20), (3, 30), (-30, -3), (-200, 200), (0, 0), (1, 1)] {
        let heard = shares[0].around(&grid, low, high);
        let (mut mass, mut first, mut second, mut periods) = (0.0, 0.0, 0.0, 0.0);
        for (tempo, row) in grid.tempi.iter().zip(shares[0].states.chunks(grid.row)) {
            let length = tempo.length as i64;
            for steps in low.max(1 - length)..=high.min(length) {
                let position = (length - steps) % length;
                let p = f64::from(row[tempo.origin + position as usize]);
                mass += p;
                first += p * steps as f64;
                second += p * (steps * steps) as f64;
                periods += p * length as f64;
            }
        }
        for (ours, plainly) in [
            (heard.mass, mass),
            (heard.first, first),
            (heard.second, second),
            (heard.periods, periods),
        ] {
            assert!(
                (ours - plainly).abs() < 1e-5 * plainly.abs().max(1.0),
                "{ours}, not {plainly}, from {low} to {high}"
            );
        }
    }
}
