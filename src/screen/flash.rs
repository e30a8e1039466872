//! What may light up, and when: never more than three flashes in any second.
//!
//! WCAG 2.2, success criterion 2.3.1 (<https://www.w3.org/TR/WCAG22/#three-flashes-or-below-threshold>),
//! allows three flashes in any one-second period. Two is all that is used here, so
//! that a picture shown a little late, or a terminal that draws in its own time,
//! does not make a fourth. Everything that lights up a large part of the screen is a
//! [`Lamp`], and all lamps share one [`Limiter`]: whatever the beats do, however
//! the count is moved and whichever keys are pressed, their sum stays within it.
//!
//! What changes on every beat besides is far from a flash: of the strip one cell in
//! eight goes on and another off, at most two and a half times a second, and the
//! large count changes its shape.
//!
//! That this is so of every screen, whatever is typed or tapped, is seen to by the
//! [`Gate`] before the terminal: it looks at the pictures themselves, and keeps the one
//! before for a moment where the next would make a large place flash once more.

use ratatui::buffer::{Buffer, Cell};
use ratatui::style::{Color, Modifier};

/// Flashes that may begin within [`WINDOW`] of one another.
const MOST: usize = 2;
/// That window, seconds: a second, and some for pictures that come late.
const WINDOW: f64 = 1.1;

/// Permits flashes, few enough in any second.
#[derive(Debug, Clone)]
pub(super) struct Limiter {
    /// When the latest ones began, oldest first.
    begun: [f64; MOST],
}

impl Default for Limiter {
    fn default() -> Self {
        Limiter {
            begun: [f64::NEG_INFINITY; MOST],
        }
    }
}

impl Limiter {
    /// Whether a flash may begin at `now` (seconds of a clock that never goes
    /// back); if so, it counts as begun.
    pub(super) fn begin(&mut self, now: f64) -> bool {
        // A clock that went back, or says nothing, permits nothing.
        let apart = now - self.begun[0];
        let allowed = apart > WINDOW && now >= self.begun[MOST - 1];
        if allowed {
            self.begun.rotate_left(1);
            self.begun[MOST - 1] = now;
        }
        allowed
    }
}

/// Something that can be lit.
#[derive(Debug, Clone, Default)]
pub(super) struct Lamp {
    wanted: bool,
    lit: bool,
}

impl Lamp {
    /// Says whether light is wanted at `now`. One that was not permitted when it
    /// began stays dark until it ends: lit late it would be out of time.
    pub(super) fn at(&mut self, now: f64, wanted: bool, limiter: &mut Limiter) {
        if wanted != self.wanted {
            self.lit = wanted && limiter.begin(now);
        }
        self.wanted = wanted;
    }

    pub(super) fn lit(&self) -> bool {
        self.lit
    }
}

/// A place as large as ten degrees of the visual field, cells: the criterion's 341 × 256
/// pixels of a screen of 1024 × 768, on which a terminal of 80 × 24 has its usual size.
const FIELD: (usize, usize) = (27, 8);
/// A quarter of it may flash at will.
const LARGE: usize = FIELD.0 * FIELD.1 / 4;
/// A change of lightness that counts, the whole range being 1.
const CHANGE: f32 = 0.1;

/// One cell's light over time.
#[derive(Debug, Clone, Copy)]
struct Glow {
    /// The extreme of light since it last turned.
    extreme: f32,
    rising: bool,
    /// When it last became lighter, oldest first.
    begun: [f64; MOST + 1],
}

impl Glow {
    const DARK: Glow = Glow {
        extreme: 0.0,
        rising: false,
        begun: [f64::NEG_INFINITY; MOST + 1],
    };

    fn turn(&mut self, light: f32, now: f64) {
        match self.rising {
            true if light > self.extreme - CHANGE => self.extreme = self.extreme.max(light),
            false if light < self.extreme + CHANGE => self.extreme = self.extreme.min(light),
            rising => {
                (self.extreme, self.rising) = (light, !rising);
                if !rising {
                    self.begun.rotate_left(1);
                    self.begun[MOST] = now;
                }
            }
        }
    }

    /// Whether it became lighter more often than it should, of late.
    fn too_often(&self, now: f64) -> bool {
        now - self.begun[0] <= WINDOW
    }
}

/// Lets pictures through to the terminal unless a large place would flash too often.
#[derive(Debug, Clone, Default)]
pub(super) struct Gate {
    shown: Buffer,
    glows: Vec<Glow>,
    next: Vec<Glow>,
}

impl Gate {
    /// Puts the picture that may be seen at `now` (seconds of a clock that never goes
    /// back) into `picture`: itself, or the one before; tells whether it is itself.
    pub(super) fn pass(&mut self, now: f64, picture: &mut Buffer) -> bool {
        if *picture == self.shown {
            return true;
        }
        let cells = picture.content();
        if picture.area != self.shown.area {
            // Whoever pulls at the window sees it jump anyway.
            self.glows.clear();
            self.glows.resize(cells.len(), Glow::DARK);
        }
        self.next.clone_from(&self.glows);
        for (glow, cell) in self.next.iter_mut().zip(cells) {
            glow.turn(light(cell), now);
        }
        let width = usize::from(picture.area.width);
        if large(&self.next, width, |glow| glow.too_often(now)) {
            picture.clone_from(&self.shown);
            return false;
        }
        std::mem::swap(&mut self.glows, &mut self.next);
        self.shown.clone_from(picture);
        true
    }
}

/// Whether a quarter of any [`FIELD`] is `counted`.
fn large<T>(cells: &[T], width: usize, counted: impl Fn(&T) -> bool) -> bool {
    if width == 0 || cells.iter().filter(|cell| counted(cell)).count() < LARGE {
        return false;
    }
    // Sums over columns of a field's height, then over its width.
    let mut columns = vec![0usize; width];
    let rows: Vec<&[T]> = cells.chunks_exact(width).collect();
    for (y, row) in rows.iter().enumerate() {
        for (x, sum) in columns.iter_mut().enumerate() {
            *sum += usize::from(counted(&row[x]));
            if y >= FIELD.1 {
                *sum -= usize::from(counted(&rows[y - FIELD.1][x]));
            }
        }
        let mut sum = 0;
        for x in 0..width {
            sum += columns[x];
            if x >= FIELD.0 {
                sum -= columns[x - FIELD.0];
            }
            if sum >= LARGE {
                return true;
            }
        }
    }
    false
}

/// How light a cell is, 0 to 1, on a dark terminal: how much of it is ink, and how light
/// that is. On a light terminal all is the other way round, with the same changes.
fn light(cell: &Cell) -> f32 {
    // Relative luminance of the colours in use (WCAG 2.2), as most terminals show them.
    let ink = match cell.fg {
        Color::LightMagenta => 0.35,
        Color::LightCyan => 0.8,
        Color::LightYellow => 0.95,
        _ => 0.85,
    };
    let covered = match cell.symbol().chars().next() {
        None | Some(' ') => 0.0,
        Some('█' | '■') => 1.0,
        // Halves, quarters and eighths of blocks.
        Some('\u{2580}'..='\u{259f}') => 0.5,
        Some(_) => 0.2,
    };
    match cell.modifier.contains(Modifier::REVERSED) {
        true => ink * (1.0 - covered),
        false => ink * covered,
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use proptest::collection::vec;
    use proptest::prelude::*;
    use ratatui::layout::Rect;
    use ratatui::style::Style;

    /// The most flashes that begin within any one second.
    fn most_in_a_second(begun: &[f64]) -> usize {
        let within = |from: f64| {
            let second = from..=from + 1.0;
            begun.iter().filter(|b| second.contains(*b)).count()
        };
        begun.iter().map(|from| within(*from)).max().unwrap_or(0)
    }

    #[test]
    fn two_close_together_are_permitted_and_the_third_is_not() {
        let mut limiter = Limiter::default();
        let given = [0.0, 0.4, 0.8, 1.05, 1.2, 1.3, 1.6].map(|now| limiter.begin(now));
        assert_eq!(given, [true, true, false, false, true, false, true]);
        assert!(!limiter.begin(1.0), "back in time");
        assert!(!limiter.begin(f64::NAN));
        assert!(limiter.begin(9.0));
    }

    #[test]
    fn a_lamp_that_was_refused_stays_dark_until_it_is_wanted_anew() {
        let mut limiter = Limiter::default();
        assert!(limiter.begin(0.0) && limiter.begin(0.1));
        let mut lamp = Lamp::default();
        for now in [0.5, 1.0, 1.5, 2.0] {
            lamp.at(now, true, &mut limiter);
            assert!(!lamp.lit(), "{now}");
        }
        lamp.at(2.1, false, &mut limiter);
        lamp.at(2.2, true, &mut limiter);
        assert!(lamp.lit());
    }

    /// A judge of its own: the most often that any one place of a quarter of ten degrees
    /// became lighter within a second, by plain counting.
    pub(in crate::screen) fn flashes(pictures: &[(f64, Buffer)]) -> usize {
        let mut lit: Vec<Vec<f64>> = Vec::new();
        let (mut before, mut most) = (Vec::<(f32, bool)>::new(), 0);
        for (now, picture) in pictures {
            let lights: Vec<f32> = picture.content().iter().map(light).collect();
            if before.len() != lights.len() {
                before = vec![(0.0, false); lights.len()];
                lit = vec![Vec::new(); lights.len()];
            }
            let mut changed = false;
            for ((light, begun), (from, up)) in lights.iter().zip(&mut lit).zip(&mut before) {
                begun.retain(|at| *at >= now - 1.0);
                if !*up && *light >= *from + CHANGE {
                    begun.push(*now);
                    (*from, *up, changed) = (*light, true, true);
                } else if *up && *light <= *from - CHANGE {
                    (*from, *up) = (*light, false);
                } else {
                    *from = if *up {
                        from.max(*light)
                    } else {
                        from.min(*light)
                    };
                }
            }
            let width = usize::from(picture.area.width);
            while changed && large(&lit, width, |begun| begun.len() > most) {
                most += 1;
            }
        }
        most
    }

    /// A blank picture, and one with a place of so many cells alight.
    fn picture(lit: (u16, u16)) -> Buffer {
        let mut picture = Buffer::empty(Rect::new(0, 0, 80, 24));
        let place = Rect::new(3, 2, lit.0, lit.1);
        picture.set_style(place, Style::new().add_modifier(Modifier::REVERSED));
        picture
    }

    #[test]
    fn a_large_place_that_flickers_is_held_and_a_small_one_is_not() {
        let run = |place, gated: bool| {
            let (mut gate, mut seen, mut held) = (Gate::default(), Vec::new(), 0);
            for n in 0..200u32 {
                let now = f64::from(n) * 0.05;
                let mut next = picture(if n % 2 == 0 { place } else { (0, 0) });
                if gated && !gate.pass(now, &mut next) {
                    held += 1;
                }
                seen.push((now, next));
            }
            (flashes(&seen), held)
        };
        assert!(run((20, 10), false).0 >= 10, "the judge sees it");
        let (flashes, held) = run((20, 10), true);
        assert!(flashes <= MOST, "{flashes}");
        assert!(held > 50, "{held}");
        assert_eq!(run((10, 2), true), (0, 0));
    }

    #[test]
    fn what_is_held_is_shown_within_a_second() {
        let mut gate = Gate::default();
        let mut now = 0.0;
        for n in 0..5 {
            now = f64::from(n) * 0.05;
            gate.pass(
                now,
                &mut picture(if n % 2 == 0 { (20, 10) } else { (0, 0) }),
            );
        }
        assert!(!gate.pass(now, &mut picture((20, 10))));
        assert!(gate.pass(now + 1.1, &mut picture((20, 10))));
    }

    proptest! {
        #[test]
        fn any_lamps_together_stay_within_three_a_second(
            steps in vec((0.0..0.3_f64, any::<[bool; 3]>()), 1..400),
        ) {
            let mut limiter = Limiter::default();
            let mut lamps = [Lamp::default(), Lamp::default(), Lamp::default()];
            let (mut now, mut begun) = (0.0, Vec::new());
            for (wait, wanted) in steps {
                now += wait;
                for (lamp, wanted) in lamps.iter_mut().zip(wanted) {
                    let before = lamp.lit();
                    lamp.at(now, wanted, &mut limiter);
                    prop_assert!(!lamp.lit() || wanted);
                    if lamp.lit() && !before {
                        begun.push(now);
                    }
                }
            }
            prop_assert!(most_in_a_second(&begun) <= 3);
        }
    }
}
