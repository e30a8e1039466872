//! What people in a hall do with hands and feet, as sound.
//!
//! Common practice in drum synthesis: a clap is a burst of noise coloured by the
//! cupped hands, a foot a damped low tone under a dull noise.

use biquad::{Biquad, Coefficients, DirectForm2Transposed, ToHertz, Type};
use eightclap::sound::band::Dice;

use super::level::{mix, set_rms};

/// Scatter of dancers' claps around the beat (standard deviation), seconds.
pub const CLAP_SCATTER: f64 = 0.025;
/// Scatter of their feet.
pub const STOMP_SCATTER: f64 = 0.035;
/// Seconds by which a group's sound begins before the beat.
pub const GROUP_BEFORE: f64 = 0.150;
/// Length of a group's sound, seconds.
const GROUP_SECONDS: f64 = 0.600;

/// What one person does: the sound of it at a sample rate, each time another one.
pub type Doing = fn(u32, &mut Dice) -> Vec<f32>;

/// Noise from `dice` through a filter at `hertz`, `seconds` long, dying away with
/// the time constant `fall`.
fn burst(
    rate: u32,
    seconds: f64,
    fall: f64,
    shape: Type<f32>,
    (hertz, q): (f64, f64),
    dice: &mut Dice,
) -> Vec<f32> {
    let at = (hertz as f32).min(0.4 * rate as f32).hz();
    let filter = Coefficients::from_params(shape, (rate as f32).hz(), at, q as f32);
    let mut filter = filter.ok().map(DirectForm2Transposed::<f32>::new);
    let hz = f64::from(rate);
    (0..(seconds * hz) as usize)
        .map(|n| {
            let noise = dice.noise() * (-(n as f64) / hz / fall).exp() as f32;
            filter.as_mut().map_or(noise, |f| f.run(noise))
        })
        .collect()
}

/// One pair of hands, each time another one.
pub fn clap(rate: u32, dice: &mut Dice) -> Vec<f32> {
    let hollow = dice.between(700.0, 1900.0);
    let mut sound = burst(rate, 0.06, 0.008, Type::BandPass, (hollow, 1.5), dice);
    let crack = burst(rate, 0.06, 0.003, Type::HighPass, (2500.0, 0.7), dice);
    let level = dice.between(0.5, 1.0) as f32;
    for (y, x) in sound.iter_mut().zip(crack) {
        *y = level * (*y + 0.4 * x);
    }
    sound
}

/// One foot on a wooden floor.
pub fn stomp(rate: u32, dice: &mut Dice) -> Vec<f32> {
    let tone = dice.between(55.0, 110.0);
    let mut sound = burst(rate, 0.2, 0.02, Type::LowPass, (400.0, 0.7), dice);
    let level = dice.between(0.5, 1.0);
    for (n, y) in sound.iter_mut().enumerate() {
        let t = n as f64 / f64::from(rate);
        let rising = 1.0 - (-t / 0.002).exp();
        let thump = rising * (-t / 0.05).exp() * (std::f64::consts::TAU * tone * t).sin();
        *y = (level * (thump + 2.0 * f64::from(*y))) as f32;
    }
    sound
}

/// `count` people doing the same about at once; together they mean the moment
/// [`GROUP_BEFORE`] seconds after the sound's start.
pub fn group(rate: u32, count: usize, scatter: f64, one: Doing, dice: &mut Dice) -> Vec<f32> {
    let mut out = vec![0.0; (GROUP_SECONDS * f64::from(rate)) as usize];
    for _ in 0..count {
        let at = (GROUP_BEFORE + dice.bell(scatter)).max(0.0);
        mix(&mut out, rate, at, &one(rate, dice), 1.0);
    }
    out
}

/// A full hall's applause at a root mean square of 0.1: each of 60 people claps
/// at a pace of their own.
pub fn applause(seconds: f64, rate: u32, dice: &mut Dice) -> Vec<f32> {
    crowd(seconds, rate, 60, (0.19, 0.32), 0.03, clap, dice)
}

/// Feet of 30 people who walk about without music, at a root mean square of 0.03.
pub fn shuffle(seconds: f64, rate: u32, dice: &mut Dice) -> Vec<f32> {
    let mut out = crowd(seconds, rate, 30, (0.4, 1.1), 0.1, sole, dice);
    set_rms(&mut out, 0.03);
    out
}

/// A sole that slides over the floor and comes to stand.
fn sole(rate: u32, dice: &mut Dice) -> Vec<f32> {
    let long = dice.between(0.03, 0.09);
    let hiss = dice.between(800.0, 2500.0);
    let mut sound = burst(rate, 0.3, long, Type::BandPass, (hiss, 0.8), dice);
    let foot = stomp(rate, dice);
    for (y, x) in sound.iter_mut().zip(foot) {
        *y += 0.3 * x;
    }
    sound
}

/// `count` people who each do `one` thing again and again: each at a pace of
/// their own (seconds, from the range `every`), each time early or late by
/// `scatter` of that pace. The root mean square is 0.1.
fn crowd(
    seconds: f64,
    rate: u32,
    count: usize,
    every: (f64, f64),
    scatter: f64,
    one: Doing,
    dice: &mut Dice,
) -> Vec<f32> {
    let mut out = vec![0.0; (seconds * f64::from(rate)) as usize];
    for _ in 0..count {
        let pace = dice.between(every.0, every.1);
        let mut at = dice.between(0.0, pace);
        while at < seconds {
            let due = (at + dice.bell(scatter * pace)).max(0.0);
            mix(&mut out, rate, due, &one(rate, dice), 1.0);
            at += pace;
        }
    }
    set_rms(&mut out, 0.1);
    out
}

/// Pink noise at a root mean square of 0.1: white noise through poles and zeros
/// that alternate evenly along the octaves, so that power falls by 3 dB in each.
pub fn pink(seconds: f64, rate: u32, dice: &mut Dice) -> Vec<f32> {
    let hz = f64::from(rate);
    // One pole and one zero an octave and a half, from 20 Hz up; the zero lies
    // in the middle between two poles (geometrically).
    let step = 2f64.powf(1.5);
    let corners: Vec<f64> = std::iter::successors(Some(20.0), |f| Some(f * step))
        .take_while(|f| *f < 0.3 * hz)
        .collect();
    let at = |f: f64| (-std::f64::consts::TAU * f / hz).exp();
    let mut sections: Vec<(f64, f64, f64, f64)> = corners
        .iter()
        .map(|&f| (at(f), at(f * step.sqrt()), 0.0, 0.0))
        .collect();
    let mut out: Vec<f32> = (0..(seconds * hz) as usize)
        .map(|_| {
            let mut x = f64::from(dice.noise());
            for (pole, zero, x1, y1) in &mut sections {
                let y = x - *zero * *x1 + *pole * *y1;
                (*x1, *y1) = (x, y);
                x = y;
            }
            x as f32
        })
        .collect();
    set_rms(&mut out, 0.1);
    out
}
