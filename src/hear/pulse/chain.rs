//! The best chain of beats about a period apart.

/// How strictly beats keep to the period: a distance off by a share r costs this
/// times ln²(1 + r), against strengths scaled to their own root mean square.
const STRICT: f32 = 300.0;

/// Frames of the beats of the best chain through `strengths` whose period is
/// `period` frames, ascending.
pub(super) fn best(strengths: &[f32], period: f64) -> Vec<usize> {
    let count = strengths.len();
    let power = strengths.iter().map(|s| s * s).sum::<f32>() / count.max(1) as f32;
    if power <= 0.0 || period < 2.0 {
        return Vec::new();
    }
    let scale = 1.0 / power.sqrt();
    let (low, high) = ((0.7 * period) as usize, (1.4 * period).ceil() as usize);
    let costs: Vec<f32> = (low..=high)
        .map(|gap| STRICT * ((gap as f64 / period).ln() as f32).powi(2))
        .collect();
    let mut scores: Vec<f32> = Vec::with_capacity(count);
    let mut before: Vec<Option<usize>> = Vec::with_capacity(count);
    for (k, strength) in strengths.iter().enumerate() {
        let mut best = (0.0, None);
        for (gap, cost) in (low..=high).zip(&costs) {
            let Some(from) = k.checked_sub(gap) else {
                break;
            };
            let score = scores[from] - cost;
            if score > best.0 {
                best = (score, Some(from));
            }
        }
        scores.push(scale * strength + best.0);
        before.push(best.1);
    }
    let last = count.saturating_sub(period.ceil() as usize);
    let end = (last..count).max_by(|&a, &b| scores[a].total_cmp(&scores[b]));
    let mut chain: Vec<usize> = std::iter::successors(end, |&k| before[k]).collect();
    chain.reverse();
    chain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strong_frames_a_period_apart_make_the_chain() {
        let mut strengths = vec![0.1; 400];
        for k in 0..8 {
            strengths[7 + 48 * k] = 1.0;
            // Nearly as strong, but beside the beat.
            strengths[25 + 48 * k] = 0.8;
        }
        // One beat is not played at all.
        strengths[7 + 48 * 4] = 0.1;
        let chain = best(&strengths, 48.3);
        assert!(chain.len() >= 8, "{chain:?}");
        let on = chain
            .iter()
            .filter(|&&k| (k + 41) % 48 <= 2 || (k + 41) % 48 >= 47);
        assert!(on.count() >= 7, "{chain:?}");
        assert!(best(&[0.0; 300], 50.0).is_empty());
        assert!(best(&[], 50.0).is_empty());
    }
}
