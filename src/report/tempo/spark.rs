//! The tempo over time as a row of small bars.

use crate::sound::timeline::median;

/// Bars from empty to full.
const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// The least range that the bars span, steps per minute: within it a band's
/// ordinary wavering should not look like a mountain range.
const LEAST_RANGE: f64 = 8.0;

/// Tempi with their times (seconds, ascending) spread evenly over `columns` columns
/// of equal time; `None` where nothing was heard. With fewer tempi than columns each
/// is a column of its own.
pub fn series(tempi: &[(f64, f64)], columns: usize) -> Vec<Option<f64>> {
    let (Some(&(first, _)), Some(&(last, _))) = (tempi.first(), tempi.last()) else {
        return Vec::new();
    };
    let length = last - first;
    if columns == 0 || length <= 0.0 {
        return tempi.iter().take(columns).map(|t| Some(t.1)).collect();
    }
    let mut steps: Vec<f64> = tempi.windows(2).map(|w| w[1].0 - w[0].0).collect();
    // A column for each tempo and each gap of its length, while there is room.
    let used = ((length / median(&mut steps)).round() as usize + 1).clamp(1, columns);
    let mut sums = vec![(0.0, 0u32); used];
    for (time, tempo) in tempi {
        let share = (time - first) / length;
        let column = (share * (used - 1) as f64).round() as usize;
        sums[column].0 += tempo;
        sums[column].1 += 1;
    }
    sums.into_iter()
        .map(|(sum, count)| (count > 0).then(|| sum / f64::from(count)))
        .collect()
}

/// The range that the bars of `series` span, steps per minute; 0 to 0 if there
/// are none.
pub fn span(series: &[Option<f64>]) -> (f64, f64) {
    let Some((low, high)) = extremes(series.iter().flatten().copied()) else {
        return (0.0, 0.0);
    };
    let more = (0.5 * (LEAST_RANGE - (high - low))).max(0.0);
    ((low - more).floor(), (high + more).ceil())
}

/// The lowest and the highest of `tempi`; `None` of none.
pub(super) fn extremes(tempi: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    let wider = |(low, high): (f64, f64), (a, b): (f64, f64)| (low.min(a), high.max(b));
    tempi.map(|tempo| (tempo, tempo)).reduce(wider)
}

/// The series as text, one character a column, and the tempi of its lowest and
/// highest bar.
pub fn blocks(series: &[Option<f64>]) -> (String, (f64, f64)) {
    let (low, high) = span(series);
    let bar = |tempo: f64| {
        let share = (tempo - low) / (high - low);
        BARS[((share * 7.0).round() as usize).min(7)]
    };
    let text = series.iter().map(|t| t.map_or(' ', bar)).collect();
    (text, (low, high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn timed(tempi: &[f64]) -> Vec<(f64, f64)> {
        let times = (0..).map(|k| 4.0 * f64::from(k));
        times.zip(tempi.iter().copied()).collect()
    }

    #[test]
    fn bars_rise_with_the_tempo() {
        let row = series(&timed(&[110.0, 112.0, 114.0, 116.0, 118.0]), 40);
        assert_eq!(blocks(&row), ("▁▃▅▆█".to_owned(), (110.0, 118.0)));
    }

    #[test]
    fn small_wavering_stays_in_the_middle() {
        let row = series(&timed(&[115.8, 116.2, 116.0]), 40);
        let (text, (low, high)) = blocks(&row);
        assert!(text.chars().all(|c| "▄▅".contains(c)), "{text}");
        assert!(high - low >= LEAST_RANGE);
    }

    #[test]
    fn pauses_are_blank_and_long_series_are_averaged() {
        let mut paused = timed(&[116.0; 6]);
        for late in &mut paused[3..] {
            late.0 += 8.0;
        }
        let row = series(&paused, 40);
        assert_eq!(row.len(), 8);
        assert_eq!(row.iter().filter(|t| t.is_none()).count(), 2);
        let long: Vec<f64> = (0..300).map(|k| 100.0 + 0.1 * f64::from(k)).collect();
        let row = series(&timed(&long), 30);
        assert_eq!(row.len(), 30);
        assert!(row.iter().all(Option::is_some) && row.is_sorted());
        assert_eq!(series(&[], 10), []);
        assert_eq!(blocks(&[]), (String::new(), (0.0, 0.0)));
        assert_eq!(series(&timed(&[116.0]), 10), [Some(116.0)]);
    }
}
