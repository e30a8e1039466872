use super::*;
use crate::sound::band::signals;
use crate::sound::timeline::Stamp;

const RATE: u32 = 16_000;

fn plan(phrases: u32, full: u32, fade: u32) -> lesson::Drill {
    lesson::Drill {
        tune: "boots-on-the-fender".into(),
        steps_per_minute: 104.0,
        phrases,
        full,
        fade,
    }
}

/// All that the drill plays.
fn play(drill: &mut Drill) -> Vec<f32> {
    let mut all = Vec::new();
    while drill.next_block(777, &mut all) > 0 {}
    all
}

/// The drill's sound as it is in a microphone `late` seconds after the devices say,
/// in a hall with `people` who clap on one `offset` seconds late; and its verdicts.
fn judged(plan: &lesson::Drill, late: f64, people: usize, offset: f64) -> Vec<Verdict> {
    let mut drill = Drill::new(plan, RATE).unwrap();
    let sound = play(&mut drill);
    let ones: Vec<f64> = drill.ones.iter().map(|one| one + offset).collect();
    let seconds = sound.len() as f64 / f64::from(RATE);
    let claps = signals::clapping(&ones, seconds, RATE, people, 0.02, 5);
    let mut heard: Vec<f32> = sound
        .iter()
        .zip(&claps)
        .map(|(s, c)| s + 0.25 * c)
        .collect();
    signals::in_room(&mut heard, &Room::HALL, RATE);
    // The microphone has run for 3 s when the tune begins at 50 s common time.
    let before = ((3.0 + late) * f64::from(RATE)) as usize;
    let mut microphone = vec![0.0; before];
    microphone.extend(heard.iter().map(|x| 0.4 * x));
    microphone.extend(vec![0.0; RATE as usize]);
    let mut ear = Ear::new(RATE);
    let (mut verdicts, mut count) = (Vec::new(), 0u64);
    for block in microphone.chunks(160) {
        let at = 47.0 + count as f64 / f64::from(RATE);
        ear.stamp(Stamp { count, at });
        ear.hear(block);
        count += block.len() as u64;
        if at > 50.2 {
            drill.placed(at, at - 50.0);
        }
        verdicts.extend(drill.judge(&ear));
    }
    verdicts
}

#[test]
fn the_clap_is_full_then_fades_then_leaves_the_room_alone() {
    let with = play(&mut Drill::new(&plan(6, 2, 2), RATE).unwrap());
    let mut silent = Drill::new(&plan(6, 2, 2), RATE).unwrap();
    silent.set_claps(false);
    let without = play(&mut silent);
    assert_eq!(with.len(), without.len());
    let loud: Vec<f32> = silent
        .ones
        .iter()
        .map(|one| {
            let at = (one * f64::from(RATE)) as usize;
            let both = with[at..].iter().zip(&without[at..]).take(800);
            both.map(|(a, b)| (a - b).abs()).fold(0.0, f32::max)
        })
        .collect();
    assert!(loud[0] > 0.3 && loud[1] > 0.3, "{loud:?}");
    assert!(
        loud[1] > 1.5 * loud[2] && loud[2] > 1.5 * loud[3] && loud[3] > 0.0,
        "{loud:?}"
    );
    assert_eq!(loud[4..], [0.0, 0.0]);
    assert_eq!(silent.given, [0.0; 6], "held back by hand");
}

#[test]
fn the_tune_stops_after_the_phrases_asked_for() {
    let mut drill = Drill::new(&plan(3, 0, 0), RATE).unwrap();
    let sound = play(&mut drill);
    let end = drill.ones[2] + 8.0 * 60.0 / 104.0;
    let seconds = sound.len() as f64 / f64::from(RATE);
    assert!((seconds - end - FADE).abs() < 0.1, "{seconds} for {end}");
    assert!(
        sound[sound.len() - 20..].iter().all(|x| x.abs() < 0.01),
        "it fades"
    );
    // A whole time through has its own end.
    let mut whole = Drill::new(&plan(8, 0, 0), RATE).unwrap();
    assert_eq!(whole.phrases(), 8);
    assert!(play(&mut whole).len() > 8 * 4 * RATE as usize);
}

#[test]
fn it_counts_the_lead_in_and_eights() {
    let drill = Drill::new(&plan(2, 0, 0), RATE).unwrap();
    let at = |time: f64| {
        let moment = drill.at(time);
        (moment.lead_in, moment.count, moment.phrase)
    };
    assert_eq!(at(0.0), (None, None, None));
    assert_eq!(at(drill.lead_in[2] + 0.01), (Some(3), None, None));
    assert_eq!(at(drill.beats[0]), (None, Some(1), Some(0)));
    assert_eq!(at(drill.beats[15] + 0.1), (None, Some(8), Some(1)));
    assert_eq!(at(drill.beats[15] + 0.9), (None, None, None));
}

#[test]
fn the_room_is_judged_though_devices_are_late_by_what_nobody_said() {
    for (late, offset, feel) in [
        (0.0, 0.0, Feel::Together),
        (0.09, 0.0, Feel::Together),
        (-0.05, 0.12, Feel::Late),
        (0.06, -0.12, Feel::Early),
    ] {
        let verdicts = judged(&plan(7, 2, 2), late, 12, offset);
        assert_eq!(verdicts.len(), 7, "{late}: every one is judged once");
        // A full clap of the program's own may hide the room's behind it.
        let count = |feel| verdicts.iter().filter(|v| v.feel() == feel).count();
        let (right, hidden) = (count(feel), count(Feel::Nothing));
        assert!(
            right >= 4 && right + hidden == 7,
            "{late} {offset}: {verdicts:#?}"
        );
    }
}

#[test]
fn an_empty_room_is_not_praised() {
    let verdicts = judged(&plan(7, 2, 2), 0.04, 0, 0.0);
    let nothing = verdicts
        .iter()
        .filter(|v| v.feel() == Feel::Nothing)
        .count();
    assert!(verdicts.len() == 7 && nothing >= 6, "{verdicts:#?}");
}

#[test]
fn verdicts_are_told_in_words_and_milliseconds() {
    let words = |offset, spread| {
        let room = Some(RoomClaps {
            offset,
            spread,
            clear: 9.0,
        });
        Verdict {
            phrase: 0,
            own: 0.0,
            room,
        }
        .in_words()
    };
    assert_eq!(words(-0.0904, 0.02), "early by 90 ms");
    assert_eq!(words(0.12, 0.02), "late by 120 ms");
    assert_eq!(words(0.012, 0.02), "together (+12 ms)");
    assert_eq!(words(-0.012, 0.2), "on one, but ragged (-12 ms)");
    let nothing = Verdict {
        phrase: 0,
        own: 1.0,
        room: None,
    };
    assert_eq!(nothing.in_words(), "no claps heard");
}

#[test]
fn without_a_microphones_sound_nothing_is_judged() {
    let mut drill = Drill::new(&plan(2, 1, 1), RATE).unwrap();
    play(&mut drill);
    drill.placed(1.0, 0.5);
    assert_eq!(drill.judge(&Ear::new(RATE)), []);
}
