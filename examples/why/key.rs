//! What the picture's marks, hatchings and greys mean.

use svg::node::element::{Definitions, Group, Path, Pattern, Rectangle};

use crate::panel::{GREY, INK, line, words};

/// Where the key begins, pixels from the left.
const LEFT: f64 = crate::picture::LEFT;

/// Hatching for the modes, so that they tell apart without colour.
pub fn patterns() -> Definitions {
    let pattern = |id: &str, d: &str| {
        Pattern::new()
            .set("id", id)
            .set("width", 6)
            .set("height", 6)
            .set("patternUnits", "userSpaceOnUse")
            .add(
                Rectangle::new()
                    .set("width", 6)
                    .set("height", 6)
                    .set("fill", "#f2f2f2"),
            )
            .add(
                Path::new()
                    .set("d", d)
                    .set("stroke", GREY)
                    .set("fill", "none"),
            )
    };
    Definitions::new()
        .add(pattern("leading", "M-1 1L1 -1M0 6L6 0M5 7L7 5"))
        .add(pattern("nobody", "M3 2.5L3 3.5"))
}

/// Grey of a probability, `None` for white. By its square root, so that
/// one part in 64 can still be seen.
pub fn shade(p: f32) -> Option<String> {
    let level = 255 - (255.0 * p.clamp(0.0, 1.0).sqrt()).round() as u8;
    (level < 247).then(|| format!("#{level:02x}{level:02x}{level:02x}"))
}

/// What the marks mean.
pub fn key(top: f64, truth: bool) -> Group {
    let mut group = Group::new();
    let mut x = LEFT;
    let y = top + 4.0;
    let word = |x: f64, text: &str| words(x, y + 4.0, text, 11.0, INK);

    let flag = format!("M{} {}l-6 -11h12z", x + 6.0, y + 5.0);
    group = group
        .add(Path::new().set("d", flag).set("fill", INK))
        .add(word(x + 18.0, "clap, its part and phrase"));
    x += 186.0;
    group = group
        .add(line(x, y + 5.0, x + 8.0, y + 5.0, GREY, 2.5))
        .add(line(x + 8.0, y - 9.0, x + 8.0, y + 5.0, INK, 1.4))
        .add(word(
            x + 16.0,
            "beat and its count (\u{b7} not known), said this long ahead",
        ));
    x += 340.0;
    if truth {
        group = group
            .add(line(x, y + 5.0, x, y, "#a03c00", 2.0))
            .add(line(x + 7.0, y + 5.0, x + 7.0, y - 6.0, "#a03c00", 2.0))
            .add(word(x + 16.0, "true beat, true one"));
    }

    // Second row: who plays, and the belief's greys.
    let y = top + 28.0;
    let word = |x: f64, text: &str| words(x, y + 4.0, text, 11.0, INK);
    let box_of = |x: f64, fill: &str| {
        Rectangle::new()
            .set("x", x)
            .set("y", y - 7.0)
            .set("width", 22)
            .set("height", 14)
            .set("fill", fill)
            .set("stroke", GREY)
    };
    let mut x = LEFT;
    for (fill, text, room) in [
        ("#9fb0c0", "the tune", 96.0),
        ("url(#leading)", "the lead-in", 108.0),
        ("url(#nobody)", "nobody, for dancing", 168.0),
    ] {
        group = group.add(box_of(x, fill)).add(word(x + 28.0, text));
        x += room;
    }
    group = group.add(word(x, "belief:"));
    x += 46.0;
    for (p, text) in [
        (0.0, "0"),
        (1.0 / 64.0, "1/64"),
        (0.125, "1/8"),
        (0.5, "1/2"),
        (1.0, "1"),
    ] {
        let fill = shade(p).unwrap_or("#ffffff".into());
        group = group.add(box_of(x, &fill)).add(word(x + 27.0, text));
        x += 60.0;
    }
    group
}
