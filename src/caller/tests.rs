//! What a score says, as a specification.

use super::*;
use crate::cue::Wording;
use crate::dance::{Card, LANTERNS_ON_THE_WEIR};

fn card() -> Card {
    Card::parse(LANTERNS_ON_THE_WEIR, "bundled card").expect("good")
}

/// 120 steps per minute: half a second a beat, the tune's first at 4 s.
fn grid(times: u32) -> Grid {
    Grid::even(4.0, 120.0, 64 * times).expect("good")
}

/// A prompt of three syllables that ends `lead` beats before `beat` and takes `length`.
fn prompt(beat: f64, lead: f64, length: f64) -> Prompt {
    let end = grid(1).time_of(beat - lead);
    Prompt {
        start: end - 0.5 * length,
        end,
        stress: end - 0.2,
        syllables: 3,
        sure: 0.9,
    }
}

/// A prompt half a beat ahead of each figure of a time through.
fn all(time: u32) -> Vec<Prompt> {
    let begin = 64.0 * f64::from(time - 1);
    let starts = card()
        .figures()
        .iter()
        .map(|f| f64::from(f.start_beat))
        .collect::<Vec<_>>();
    starts
        .into_iter()
        .map(|start| prompt(begin + start, 0.5, 2.0))
        .collect()
}

fn scored(prompts: &[Prompt], times: u32) -> Score {
    score(
        &card(),
        &grid(times),
        prompts,
        f64::INFINITY,
        &Limits::default(),
    )
}

fn told(score: &Score) -> Vec<String> {
    advice(&card(), score, &Limits::default())
}

#[test]
fn a_prompt_is_judged_by_the_beats_from_its_end_to_the_figure() {
    for (lead, verdict) in [
        (-2.0, Verdict::Late),
        (-0.1, Verdict::Late),
        (0.0, Verdict::Good),
        (0.5, Verdict::Good),
        (1.0, Verdict::Good),
        (1.5, Verdict::Ahead),
        (2.0, Verdict::Ahead),
        (2.1, Verdict::Early),
        (4.5, Verdict::Early),
    ] {
        let mut prompts = all(1);
        // The robins' do-si-do begins on beat 16.
        prompts[2] = prompt(16.0, lead, 1.0);
        let score = scored(&prompts, 1);
        let figure = &score.figures[2];
        assert_eq!(figure.verdict, verdict, "{lead} beats ahead");
        let spoken = figure.spoken.expect("spoken");
        assert!((spoken.lead - lead).abs() < 1e-6);
        assert!((spoken.lead_ms - 500.0 * lead).abs() < 1e-3);
        let others = score.figures.iter().filter(|f| f.figure != 2);
        assert!(
            others.clone().all(|f| f.verdict == Verdict::Good),
            "{score:?}"
        );
        assert_eq!(others.count(), 8);
    }
}

#[test]
fn limits_move_the_verdicts() {
    let limits = Limits {
        late: 0.5,
        good: 0.4,
        early: 0.45,
        ..Limits::default()
    };
    let score = score(&card(), &grid(1), &all(1), f64::INFINITY, &limits);
    assert!(score.figures.iter().all(|f| f.verdict == Verdict::Early));
    let late = [prompt(16.0, -0.4, 2.0)];
    let score = super::score(&card(), &grid(1), &late, f64::INFINITY, &limits);
    assert_eq!(score.figures[2].verdict, Verdict::Good);
}

#[test]
fn a_figure_without_a_prompt_was_missed_and_the_others_keep_theirs() {
    let mut prompts = all(1);
    prompts.remove(4);
    let score = scored(&prompts, 1);
    for figure in &score.figures {
        let expected = match figure.figure {
            4 => Verdict::Missed,
            _ => Verdict::Good,
        };
        assert_eq!(figure.verdict, expected, "{}", figure.name);
    }
    assert!(told(&score)[0].contains("\"long lines forward and back\" was not prompted in time 1"));
}

#[test]
fn silence_after_the_full_times_is_fading_and_before_them_is_not() {
    let prompts: Vec<Prompt> = (1..=2).flat_map(all).collect();
    let score = scored(&prompts, 4);
    let of = |time| score.figures.iter().filter(move |f| f.time_through == time);
    assert!(of(2).all(|f| f.verdict == Verdict::Good));
    assert!(of(3).chain(of(4)).all(|f| f.verdict == Verdict::Faded));
    assert_eq!(score.whole().missed, 0);
    let times = score.by_time();
    let words: Vec<Said> = times
        .iter()
        .map(|(_, sum)| fading(&times[0].1, sum))
        .collect();
    assert_eq!(words, [Said::Full, Said::Full, Said::Silent, Said::Silent]);
    // Silence is less than any plan asks for; a few words are more than silence.
    assert!(Said::Silent.within(Wording::Short) && Said::Shorter.within(Wording::Short));
    assert!(!Said::Full.within(Wording::Short) && !Said::FewWords.within(Wording::Silent));

    // One that comes back after a silence was missed in between.
    let mut prompts = prompts;
    prompts.push(prompt(192.0 + 16.0, 0.5, 2.0));
    let score = scored(&prompts, 4);
    let third: Vec<Verdict> = score
        .figures
        .iter()
        .filter(|f| f.figure == 2)
        .map(|f| f.verdict)
        .collect();
    assert_eq!(
        third,
        [Verdict::Good, Verdict::Good, Verdict::Missed, Verdict::Good]
    );
    // In the first time through nothing has faded yet.
    assert!(
        scored(&[], 1)
            .figures
            .iter()
            .all(|f| f.verdict == Verdict::Missed)
    );
}

#[test]
fn a_prompt_said_twice_counts_once() {
    let mut prompts = all(1);
    // The star, beat 40, is called early and again in time.
    let early = prompt(40.0, 5.0, 1.0);
    prompts.insert(5, early);
    let score = scored(&prompts, 1);
    assert_eq!(score.figures[5].verdict, Verdict::Good);
    assert_eq!(score.figures[5].again, 1);
    assert_eq!(score.strays, []);
    assert!(
        told(&score)
            .iter()
            .any(|t| t.contains("said more than once"))
    );
}

#[test]
fn two_pieces_of_one_call_are_one_call() {
    let mut prompts = all(1);
    let last = prompts[5];
    prompts[5].start = last.end - 0.4;
    prompts.insert(
        5,
        Prompt {
            end: last.end - 0.9,
            start: last.end - 1.6,
            ..last
        },
    );
    let score = scored(&prompts, 1);
    let star = &score.figures[5];
    assert_eq!((star.again, star.verdict), (0, Verdict::Good));
    let spoken = star.spoken.expect("spoken");
    assert!((spoken.end - spoken.start - 1.6).abs() < 1e-6);
    assert_eq!(spoken.syllables, 6);
}

#[test]
fn talk_in_the_middle_of_a_figure_belongs_to_none() {
    let mut prompts = all(1);
    // The swing lasts from beat 4 to 16.
    prompts.insert(2, prompt(7.0, 0.0, 1.0));
    let score = scored(&prompts, 1);
    assert!(
        score.figures.iter().all(|f| f.verdict == Verdict::Good),
        "{score:?}"
    );
    assert_eq!(score.strays.len(), 1);
}

#[test]
fn a_prompt_that_begins_too_soon_speaks_over_the_figure_before() {
    let mut prompts = all(1);
    // Long lines begin on 32; the call for the star, on 40, begins half a beat later.
    prompts[5] = prompt(40.0, 0.5, 7.0);
    let score = scored(&prompts, 1);
    let over: Vec<usize> = score
        .figures
        .iter()
        .filter(|f| f.spoke_over)
        .map(|f| f.figure)
        .collect();
    assert_eq!(over, [5]);
    assert!(
        told(&score)
            .iter()
            .any(|t| t.contains("while \"long lines forward and back\" was getting going"))
    );
}

#[test]
fn a_prompt_spoken_too_fast_is_hasty() {
    let mut prompts = all(1);
    prompts[3].syllables = 9;
    let score = scored(&prompts, 1);
    let spoken = score.figures[3].spoken.expect("spoken");
    assert!((spoken.pace.expect("heard") - 9.0).abs() < 1e-6);
    assert!(score.figures[3].hasty && !score.figures[2].hasty);
    assert!(told(&score)[0].contains("at 9.0 syllables a second"));
}

#[test]
fn taps_have_an_end_and_no_pace() {
    let taps: Vec<Prompt> = all(1).iter().map(|p| Prompt::tapped(p.end)).collect();
    let score = scored(&taps, 1);
    assert!(
        score
            .figures
            .iter()
            .all(|f| f.verdict == Verdict::Good && !f.spoke_over)
    );
    assert!(
        score
            .figures
            .iter()
            .all(|f| f.spoken.is_some_and(|s| s.pace.is_none()))
    );
    assert_eq!(fading(&score.whole(), &score.whole()), Said::Full);
    // Advice is about where they end: half a beat ahead of 16 is in count 8.
    let late = scored(&[Prompt::tapped(grid(1).time_of(16.4))], 1);
    let text = told(&late).join("; ");
    assert!(
        text.contains("came 0.4 beats late on average: be done with it on 8"),
        "{text}"
    );
}

#[test]
fn only_what_was_danced_is_scored() {
    let score = score(
        &card(),
        &grid(2),
        &all(1),
        4.0 + 0.5 * 20.0,
        &Limits::default(),
    );
    // Beat 20 was reached: figures on 0, 4 and 16; 24 was not.
    assert_eq!(score.figures.len(), 3);
}

#[test]
fn advice_says_what_to_start_where() {
    let prompts: Vec<Prompt> = (1..=2)
        .flat_map(|time| {
            let mut prompts = all(time);
            // 0.6 beats late, two beats long.
            prompts[5] = prompt(64.0 * f64::from(time - 1) + 40.0, -0.6, 2.0);
            prompts
        })
        .collect();
    let score = scored(&prompts, 2);
    // To be over half a beat before beat 40 it has to begin on 37.5: count 6.
    assert_eq!(
        told(&score),
        ["\"star by the right\" came 0.6 beats late on average: start it on 6"]
    );
    assert_eq!(
        told(&scored(&all(1), 1)),
        ["every prompt was over in time and none too soon: well called"]
    );
    assert!(told(&scored(&[], 1))[0].contains("no prompt was heard"));
    // A call too long for its room is to be shorter.
    let mut prompts = all(1);
    prompts[1] = prompt(4.0, -1.0, 4.0);
    let text = told(&scored(&prompts, 1)).join("; ");
    assert!(
        text.contains("it takes 4.0 beats and there is room for 2.5 beats: use fewer words"),
        "{text}"
    );
    // Two calls without a pause are heard as one.
    let mut prompts = all(1);
    let second = prompts.remove(8);
    prompts[7].end = second.end - 1.0;
    let text = told(&scored(&prompts, 1)).join("; ");
    assert!(
        text.contains(
            "\"balance the ring\" and \"pass through to the next\" came in one breath once"
        ),
        "{text}"
    );
    // Who never fades is told so.
    let score = scored(&(1..=3).flat_map(all).collect::<Vec<_>>(), 3);
    assert!(
        told(&score)[0].starts_with("time 3 was still full, and short was planned"),
        "{:?}",
        told(&score)
    );
}

#[test]
fn sums_tell_share_lead_and_spread() {
    let mut prompts = all(1);
    prompts[2] = prompt(16.0, -0.5, 2.0);
    prompts[3] = prompt(24.0, 1.5, 2.0);
    let whole = scored(&prompts, 1).whole();
    assert_eq!(
        (whole.wanted, whole.given, whole.good, whole.late),
        (9, 9, 8, 1)
    );
    assert!((whole.lead - 0.5).abs() < 1e-6 && (whole.share() - 8.0 / 9.0).abs() < 1e-9);
    assert!((whole.spread - (2.0f64 / 9.0).sqrt()).abs() < 1e-6);
    assert!((whole.beats - 2.0).abs() < 1e-6 && (whole.pace - 3.0).abs() < 1e-6);
}
