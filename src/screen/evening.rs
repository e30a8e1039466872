//! Where an evening stands, in one row.

use super::text::clock;
use crate::dance::programme::Evening;

/// Minutes off the plan's clock that are not worth a word.
const ON_TIME: f64 = 1.5;
/// Minutes off it that no evening is.
const ELSEWHEN: f64 = 150.0;

/// Where the evening stands at `now` (seconds of its own clock), in wordings from
/// long to short. `time` is which time through the dance it is, if that is known.
pub fn evening_words(evening: &Evening, now: f64, time: Option<u32>) -> Vec<String> {
    let standing = evening.standing(now);
    let (n, item) = evening.item();
    let place = format!("{n} of {}", evening.items());
    let spent = format!("{} of {}", clock(standing.elapsed), clock(standing.planned));
    let left = match standing.left {
        left if left >= 0.0 => format!("{} left", clock(left.ceil())),
        over => format!("{} OVER", clock(-over)),
    };
    let time = match (item.dance(), time) {
        (Some(dance), Some(time)) => format!("   time {time} of {}", dance.times),
        (Some(dance), None) => format!("   {} times", dance.times),
        _ => String::new(),
    };
    let behind = match standing.behind {
        // Rehearsed at another time of day.
        Some(b) if b.abs() > ELSEWHEN => String::new(),
        Some(b) if b > ON_TIME => format!(", {b:.0} min late"),
        Some(b) if b < -ON_TIME => format!(", {:.0} min early", -b),
        Some(_) => ", on time".to_owned(),
        None => String::new(),
    };
    let day = standing
        .clock
        .map_or_else(String::new, |c| format!("   {c}{behind}"));
    let end = format!("   {} min to the end", (standing.to_end / 60.0).round());
    let next = match evening.next_item() {
        Some(item) => format!("   n: {}", item.title()),
        None => "   the last item".to_owned(),
    };
    vec![
        format!("{place}   {spent}, {left}{time}{day}{end}{next}"),
        format!("{place}   {spent}, {left}{time}{day}{next}"),
        format!("{place}   {spent}, {left}{time}{day}"),
        format!("{place}  {left}{time}{day}"),
        format!("{place}  {left}{time}"),
        format!("{n}  {left}"),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dance::programme::{Clock, Programme};

    fn evening(start: &str) -> Evening {
        let text = format!(
            "title = \"T\"\n{start}\n[[item]]\ndance = \"the-tin-kettle-ring\"\ntimes = 8\nwalk = 4\nsteps_per_minute = 120\n[[item]]\nbreak = \"Tea\"\nminutes = 15\n"
        );
        let programme = Programme::parse(&text, "p", None).expect("a programme");
        Evening::new(programme, 0, 0.0, Clock::parse("19:34"))
    }

    #[test]
    fn the_row_says_what_is_spent_what_is_left_and_what_comes_next() {
        let mut evening = evening("start = \"19:30\"");
        let words = evening_words(&evening, 60.0, Some(2));
        assert_eq!(
            words[0],
            "1 of 2   1:00 of 8:18, 7:18 left   time 2 of 8   19:35, 4 min late   22 min to the end   n: Tea"
        );
        assert_eq!(words[4], "1 of 2  7:18 left   time 2 of 8");
        let widths: Vec<usize> = words.iter().map(|w| w.chars().count()).collect();
        assert!(widths.is_sorted_by(|a, b| a > b), "{widths:?}");
        let words = evening_words(&evening, 520.0, None);
        assert!(
            words[3].starts_with("1 of 2  0:22 OVER   8 times"),
            "{}",
            words[3]
        );
        assert!(evening.go_on(500.0));
        let words = evening_words(&evening, 500.0, Some(9));
        assert_eq!(
            words[1],
            "2 of 2   0:00 of 15:00, 15:00 left   19:42, 4 min late   the last item"
        );
    }

    #[test]
    fn at_another_time_of_day_nothing_is_late() {
        let words = evening_words(&evening("start = \"11:30\""), 0.0, None);
        assert!(!words[0].contains("late"), "{}", words[0]);
    }

    #[test]
    fn without_a_start_nothing_is_late() {
        let words = evening_words(&evening(""), 0.0, None);
        assert!(
            words[0].contains("   19:34   ") && !words[0].contains("late"),
            "{}",
            words[0]
        );
    }
}
