use super::*;
use crate::sound::band::signals::white_noise;
use crate::sound::clap;
use crate::sound::peak::true_peak;

fn play(outlet: &mut Outlet, id: u64, at: u64, clip: &Arc<[f32]>) {
    let order = Order::Play {
        id,
        at,
        clip: clip.clone(),
        gain: 1.0,
    };
    assert!(outlet.orders.try_push(order).is_ok());
}

#[test]
fn claps_leave_at_their_frame_in_every_channel() {
    let (mut hands, mut outlet) = hands(1_000, 2, Instant::now());
    let clip: Arc<[f32]> = vec![0.5, 0.25].into();
    play(&mut outlet, 1, 603, &clip);
    let mut heard = Vec::new();
    for _ in 0..2 {
        let mut out = vec![9i16; 2 * 400];
        hands.fill(&mut out, Duration::from_millis(30));
        heard.extend(out);
    }
    let loud: Vec<_> = heard.iter().enumerate().filter(|(_, s)| **s != 0).collect();
    assert_eq!(
        loud,
        [(1206, &16384), (1207, &16384), (1208, &8192), (1209, &8192)]
    );
    let report = outlet.reports.try_pop().unwrap();
    let ahead = hands.limiter.delay() as i64;
    assert_eq!((report.margin, report.taken), (603 - ahead, true));
    let stamps: Vec<Stamp> = outlet.stamps.pop_iter().collect();
    assert_eq!((stamps[0].count, stamps[1].count), (0, 400));
    assert!(stamps[0].at >= 0.03);
}

#[test]
fn a_little_late_is_at_once_and_more_is_not_at_all() {
    let (mut hands, mut outlet) = hands(1_000, 1, Instant::now());
    let clip: Arc<[f32]> = vec![0.5].into();
    let mut out = [0.0f32; 100];
    hands.fill(&mut out, Duration::ZERO);
    // The limiter has looked at these frames already.
    let ahead = hands.limiter.delay();
    let next = 100 + ahead as u64;
    play(&mut outlet, 1, next - 4, &clip);
    play(&mut outlet, 2, next - 6, &clip);
    hands.fill(&mut out, Duration::ZERO);
    assert_eq!((out[ahead], out[ahead + 1]), (0.5, 0.0));
    let reports: Vec<Report> = outlet.reports.pop_iter().collect();
    assert_eq!(
        reports.iter().map(|r| r.taken).collect::<Vec<_>>(),
        [true, false]
    );
    assert_eq!(reports[1].margin, -6);
}

#[test]
fn a_call_that_is_stopped_fades_out() {
    let (mut hands, mut outlet) = hands(1_000, 1, Instant::now());
    let clip: Arc<[f32]> = vec![0.5; 300].into();
    let mut out = [0.0f32; 100];
    play(&mut outlet, 1, 150, &clip);
    hands.fill(&mut out, Duration::ZERO);
    let stop = Order::Stop { id: 1, at: 250 };
    assert!(outlet.orders.try_push(stop).is_ok());
    hands.fill(&mut out, Duration::ZERO);
    hands.fill(&mut out, Duration::ZERO);
    assert_eq!((out[29], out[40], out[50]), (0.5, 0.25, 0.0));
}

#[test]
fn a_clap_taken_back_is_not_heard() {
    let (mut hands, mut outlet) = hands(1_000, 1, Instant::now());
    let clip: Arc<[f32]> = vec![0.5].into();
    let mut out = [0.0f32; 100];
    play(&mut outlet, 1, 250, &clip);
    hands.fill(&mut out, Duration::ZERO);
    assert!(outlet.orders.try_push(Order::Withdraw { id: 1 }).is_ok());
    hands.fill(&mut out, Duration::ZERO);
    hands.fill(&mut out, Duration::ZERO);
    assert_eq!(out, [0.0; 100]);
}

#[test]
fn everything_at_once_as_loud_as_it_goes_stays_a_decibel_below_full_scale() {
    for rate in [44_100, 48_000, 96_000] {
        let (mut hands, mut outlet) = hands(rate, 2, Instant::now());
        let second = u64::from(rate);
        // A rehearsal's band and a voice, each a recording without room above it.
        let loud = |seed| {
            let noise = white_noise(1.0, rate, 1.0, seed);
            noise.iter().map(|x| x.signum()).collect::<Arc<[f32]>>()
        };
        let most = 4.0;
        let sounds = [
            (second / 4, loud(1), 0.7),
            (second / 3, loud(2), most),
            (second / 2, clap::group(rate), most),
            (second / 2, clap::tick(rate), most),
        ];
        for (id, (at, clip, gain)) in (0..).zip(&sounds) {
            let (at, clip, gain) = (*at, clip.clone(), *gain);
            let order = Order::Play { id, at, clip, gain };
            assert!(outlet.orders.try_push(order).is_ok());
        }
        let mut heard = Vec::new();
        while heard.len() < 3 * rate as usize {
            let mut out = vec![0.0f32; 2 * 960];
            hands.fill(&mut out, Duration::from_millis(30));
            heard.extend(out);
        }
        let peak = true_peak(&heard, 2, rate);
        println!("{rate} Hz: {peak:.2} dBTP");
        assert!(peak <= -1.0, "{rate} Hz: {peak} dBTP");
        assert!(peak > -3.0, "it was loud: {peak}");
    }
}
