//! How steady a tempo was: stretches of 8 beats, and a line through their tempi.

use super::line::{self, Point};
use super::{Estimate, Meter, STRETCH, points};

/// How steady the tempo was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steadiness {
    /// Steps per minute per minute: above 0 is getting faster.
    pub drift: Estimate,
    /// Standard deviation of the stretches' tempi about the drift's line, steps
    /// per minute.
    pub spread: f64,
}

/// The tempo of one stretch of 8 beats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// The middle of its beats, seconds.
    pub time: f64,
    /// Steps per minute.
    pub tempo: f64,
    run: u32,
}

impl Meter {
    /// The tempi of the stretches, in order.
    pub fn stretches(&self) -> Vec<Stretch> {
        let mut stretches = Vec::new();
        for run in self.beats.chunk_by(|a, b| a.run == b.run) {
            let mut rest = run;
            while let (Some(first), Some(last)) = (rest.first(), rest.last()) {
                let end = first.number + STRETCH;
                if last.number < end {
                    break;
                }
                // The beat that ends a stretch begins the next.
                let inside = rest.partition_point(|b| b.number <= end);
                let beats = &rest[..inside];
                if let Some(fit) = line::fit(&points(beats)).filter(|_| inside > 2) {
                    stretches.push(Stretch {
                        time: 0.5 * (beats[0].time + beats[inside - 1].time),
                        tempo: 60.0 * fit.slope,
                        run: first.run,
                    });
                }
                rest = &rest[rest.partition_point(|b| b.number < end)..];
            }
        }
        stretches
    }

    /// Drift and spread; `None` with fewer than four stretches of one run.
    pub fn steadiness(&self) -> Option<Steadiness> {
        let stretches = self.stretches();
        let longest = stretches.chunk_by(|a, b| a.run == b.run).map(<[_]>::len);
        if longest.max()? < 4 {
            return None;
        }
        let points: Vec<Point> = stretches
            .iter()
            .map(|s| Point {
                x: s.time / 60.0,
                y: s.tempo,
                run: s.run,
            })
            .collect();
        let fit = line::plain_fit(&points)?;
        Some(Steadiness {
            drift: Estimate {
                value: fit.slope,
                error: fit.error,
            },
            spread: fit.spread,
        })
    }
}
