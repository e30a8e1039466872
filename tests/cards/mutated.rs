//! Cards spoilt in the ways that files get spoilt: each gives an error with its
//! place, or a warning, and never a panic.

use eightclap::dance::{Card, Figures, bundled, check};

use super::body::is_read_or_refused;

/// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014): the same numbers on every
/// machine.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, count: usize) -> usize {
        (self.roll() % count.max(1) as u64) as usize
    }
}

/// Lines that matter: neither empty nor remarks.
fn lines(text: &str) -> (Vec<String>, Vec<usize>) {
    let all: Vec<String> = text.lines().map(str::to_owned).collect();
    let matter = (0..all.len())
        .filter(|i| !all[*i].trim().is_empty() && !all[*i].starts_with('#'))
        .collect();
    (all, matter)
}

/// One of the `KINDS` ways to spoil a card.
fn spoilt(text: &str, kind: usize, dice: &mut Dice) -> String {
    let (mut all, matter) = lines(text);
    let at = |dice: &mut Dice, wanted: &dyn Fn(&str) -> bool| {
        let chosen: Vec<usize> = matter
            .iter()
            .copied()
            .filter(|i| wanted(&all[*i]))
            .collect();
        chosen[dice.below(chosen.len())]
    };
    match kind {
        // A line lost.
        0 => {
            let line = at(dice, &|l| !l.starts_with("note") && !l.starts_with("short"));
            all.remove(line);
        }
        // A line twice.
        1 => {
            let line = at(dice, &|_| true);
            all.insert(line, all[line].clone());
        }
        // Another number.
        2 => {
            let line = at(dice, &|l| l.starts_with("beats"));
            let numbers = [
                "0",
                "-8",
                "7",
                "33",
                "1e9",
                "99999999999999999999",
                "8.5",
                "\"8\"",
                "nan",
            ];
            all[line] = format!("beats = {}", numbers[dice.below(numbers.len())]);
        }
        // A key by another name.
        3 => {
            let line = at(dice, &|l| l.contains(" = "));
            let (key, value) = all[line].split_once(" = ").expect("a key");
            let mut key: Vec<char> = key.chars().collect();
            let letter = dice.below(key.len());
            match dice.below(3) {
                0 => key[letter] = 'q',
                1 => key.insert(letter, 'q'),
                _ => drop(key.remove(letter)),
            }
            let key: String = key.into_iter().collect();
            all[line] = format!("{key} = {value}");
        }
        // A quotation mark or bracket lost.
        4 => {
            let line = at(dice, &|l| l.contains(['"', '[']));
            let mark = all[line].rfind(['"', ']', '[']).expect("a mark");
            all[line].remove(mark);
        }
        // The file cut short.
        5 => {
            let line = at(dice, &|_| true);
            all.truncate(line);
        }
        // Letters of a figure's name exchanged.
        _ => {
            let line = at(dice, &|l| l.starts_with("figure"));
            let mut letters: Vec<char> = all[line].chars().collect();
            for _ in 0..4 {
                let from = 10 + dice.below(letters.len() - 12);
                letters[from] = ['x', 'q', 'z', 'k'][dice.below(4)];
            }
            all[line] = letters.into_iter().collect();
        }
    }
    all.join("\n") + "\n"
}

const KINDS: usize = 7;

#[test]
fn spoilt_cards_are_noticed_and_never_panic() {
    let mut dice = Dice(20_24);
    let (mut spoilt_cards, mut refused, mut warned) = (0, 0, 0);
    let mut unnoticed = Vec::new();
    for round in 0..6 {
        for (name, text) in bundled() {
            for kind in 0..KINDS {
                let text = spoilt(text, kind, &mut dice);
                is_read_or_refused(&text);
                spoilt_cards += 1;
                match Card::parse(&text, "m") {
                    Err(error) => {
                        assert!(error.troubles().iter().all(|t| t.line > 0 && t.column > 0));
                        refused += 1;
                    }
                    Ok(card) => {
                        let report = check::check(&card, Figures::builtin(), &|_| None);
                        // Figures that are no longer followed are told too.
                        let lost = report.followed.is_some_and(|f| f.stopped.is_some());
                        if report.findings.is_empty() && !lost {
                            unnoticed.push(format!("{round} {name} kind {kind}"));
                        } else {
                            warned += 1;
                        }
                    }
                }
            }
        }
    }
    println!(
        "{spoilt_cards} spoilt cards: {refused} refused, {warned} warned of, {} unnoticed",
        unnoticed.len()
    );
    assert!(spoilt_cards >= 100);
    assert!(refused > 100 && warned > 10, "{refused} {warned}");
    // Some changes leave a good card: the author's line lost, say.
    assert!(unnoticed.len() * 20 <= spoilt_cards, "{unnoticed:#?}");
}

#[test]
fn flipped_bits_never_panic() {
    let mut dice = Dice(7);
    for (_, text) in bundled() {
        for _ in 0..60 {
            let mut bytes = text.as_bytes().to_vec();
            for _ in 0..=dice.below(3) {
                let at = dice.below(bytes.len());
                bytes[at] ^= 1 << dice.below(8);
            }
            is_read_or_refused(&String::from_utf8_lossy(&bytes));
        }
    }
}
