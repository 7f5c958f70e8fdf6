//! A supply's output against closed forms: its loops, its capacitor, rise and fall, its
//! protections, its noise, and how far its settings and read-backs are off.

use super::*;
use crate::instrument::profile::{OffState, SHIPPED, find};
use crate::rehearsal::supply::SupplyDevice;
use crate::rehearsal::world::{Counts, Guards, Loops, Noise, OPEN, Over, Source, Thing, World};
use crate::units::{Farads, Ohms};
use std::f64::consts::PI;

const FREE: Guards = Guards { voltage: None, current: None };

/// 10 uF, that gives and takes 4.5 A, and holds its voltage to 1 mohm.
fn plain() -> Electrics {
    let profile = find("supply-channel-list", std::path::Path::new(".")).unwrap();
    Electrics { resistance: 1e-3, preload: 1e9, sink: 4.5, ..usual(profile.supply().unwrap()) }
}

fn looped(damping: f64) -> Electrics {
    Electrics { loops: Some(Loops { voltage: 50e-6, damping, current: 100e-6 }), ..plain() }
}

/// On a resistor, through no leads.
fn on(load: Ohms, electrics: Electrics) -> World {
    on_thing(Thing::Resistor(load), electrics, 7)
}

fn on_thing(thing: Thing, electrics: Electrics, seed: u64) -> World {
    let things = [("load".to_owned(), thing)].into();
    World::new(things, "load", Ohms(0.0), electrics, Source { on: false, ..at(0.0, 3.0) }, seed)
}

/// On, with this voltage and limit; it jumps there.
fn at(voltage: f64, limit: f64) -> Source {
    Source { on: true, voltage, limit, off: OffState::Open, slew: (1e12, 1e12) }
}

/// A unit by its netlist.
fn described(netlist: &str) -> Thing {
    let text = format!("cause = \"none\"\ninput = \"in\"\nnetlist = \"\"\"\n{netlist}\n\"\"\"\n");
    unit(&text).things("unit", 1).remove("unit").unwrap()
}

/// The highest voltage at the terminals from now on, and when, looked for every microsecond.
fn peak(world: &mut World, lasts: f64) -> (f64, f64) {
    let begins = world.time();
    let count = (lasts / 1e-6) as u32;
    let seen = (1..=count).map(|i| {
        let time = begins + f64::from(i) * 1e-6;
        world.advance(time);
        (world.see().terminal, time - begins)
    });
    seen.fold((0.0, 0.0), |a, b| if b.0 > a.0 { b } else { a })
}

/// Second order: overshoot exp(-pi z / sqrt(1 - z^2)) at the time pi T / sqrt(1 - z^2)
/// (K. Ogata, "Modern Control Engineering", chapter 5; from memory).
#[test]
fn a_step_is_overshot_as_the_damping_of_the_loop_says() {
    for damping in [0.2, 0.4, 0.6, 0.8] {
        let mut world = on(OPEN, looped(damping));
        world.set_output(at(0.5, 3.0), FREE);
        let (highest, time) = peak(&mut world, 500e-6);
        let root = (1.0_f64 - damping * damping).sqrt();
        let overshoot = (-PI * damping / root).exp();
        assert!((highest / 0.5 - 1.0 - overshoot).abs() < 2e-3, "{damping}: {highest} V for {overshoot}");
        assert!((time - PI * 50e-6 / root).abs() < 2e-6 + 0.01 * time, "{damping}: {time}");
        world.advance(0.02);
        assert!((world.see().terminal - 0.5).abs() < 1e-5, "{damping}: {:?}", world.see());
    }
    let mut world = on(OPEN, looped(1.0));
    world.set_output(at(0.5, 3.0), FREE);
    assert!(peak(&mut world, 1e-3).0 < 0.5 + 1e-5);
}

/// The same loop with more capacitance: z falls with the root of what it feeds, T grows with it.
#[test]
fn a_capacitor_of_the_unit_makes_the_loop_ring() {
    let mut world = on_thing(described("C1 in 0 30u"), looped(0.8), 1);
    world.set_output(at(0.25, 3.0), FREE);
    let damping: f64 = 0.8 / 2.0;
    let (highest, time) = peak(&mut world, 1e-3);
    let root = (1.0 - damping * damping).sqrt();
    assert!((highest / 0.25 - 1.0 - (-PI * damping / root).exp()).abs() < 0.01, "{highest}");
    assert!((time - PI * 100e-6 / root).abs() < 0.03 * time, "{time}");
}

#[test]
fn what_cannot_sink_stays_overshot_until_its_load_has_drawn_it_down() {
    let mut world = on(Ohms(1e3), Electrics { sink: 0.0, ..looped(0.4) });
    world.set_output(at(0.5, 3.0), FREE);
    let (highest, time) = peak(&mut world, 200e-6);
    assert!((highest / 0.5 - 1.25).abs() < 0.01, "{highest}");
    // Down with R C = 10 ms, while the regulator gives nothing.
    for after in [0.2e-3, 1e-3] {
        world.advance(time + after);
        let left = highest * (-after / 10e-3).exp();
        assert!((world.see().terminal - left).abs() < 1e-3 * left, "{after}: {:?} for {left}", world.see());
    }
    world.advance(0.1);
    assert!((world.see().terminal - 0.5).abs() < 1e-3, "{:?}", world.see());
}

/// For the crossover what the load wants, then first order towards the limit.
#[test]
fn the_limit_is_overshot_for_the_crossover_and_then_reached_as_the_loop_says() {
    let loops = Some(Loops { voltage: 2e-6, damping: 1.0, current: 100e-6 });
    let mut world = on(Ohms(1.0), Electrics { capacitance: 1e-6, crossover: 300e-6, loops, ..plain() });
    world.set_output(at(0.9, 0.05), FREE);
    let mut time = 0.0;
    while !world.see().limiting {
        time += 0.5e-6;
        world.advance(time);
    }
    assert!((time - 300e-6).abs() < 10e-6, "{time}");
    let began = world.see().current;
    assert!((began - 0.9).abs() < 0.01, "{began}");
    for after in [50e-6, 100e-6, 300e-6] {
        world.advance(time + after);
        let flows = 0.05 + (began - 0.05) * (-after / 100e-6).exp();
        assert!((world.see().current - flows).abs() < 0.01 * flows + 1e-3, "{after}: {:?} for {flows}", world.see());
    }
    world.advance(0.1);
    assert!((world.see().current - 0.05).abs() < 1e-6 && world.see().limiting);
}

/// Q = C V, whatever the limit is; the first amperes are V / R.
#[test]
fn an_output_capacitor_empties_into_a_short() {
    let short = "S1 in x c 0 sw\nR1 x 0 50m\nV1 c 0 PWL(0 0 500m 0 500.000001m 5)\n.model sw SW(VT=2.5 VH=0.1 RON=1m ROFF=1e9)";
    for capacitance in [10e-6, 470e-6] {
        for loops in [None, looped(1.0).loops] {
            let electrics = Electrics { capacitance, loops, crossover: 0.0, surge: 0.1, sink: 0.0, ..plain() };
            let mut world = on_thing(described(short), electrics, 1);
            // It rises so slowly that its capacitor takes less than the limit.
            world.set_output(Source { slew: (100.0, 100.0), ..at(9.0, 0.1) }, FREE);
            world.advance(0.5);
            assert!((world.see().terminal - 9.0).abs() < 5e-3, "{:?}", world.see());
            let before = world.charge();
            // Lead, contact, switch and short: 57 mohm.
            world.advance(0.5 + 2e-9);
            assert!((world.see().current - 9.0 / 0.057).abs() < 0.03 * 9.0 / 0.057, "{:?}", world.see());
            let later = 0.501;
            world.advance(later);
            let emptied = world.charge() - before - 0.1 * (later - 0.5);
            assert!((emptied - capacitance * 9.0).abs() < 0.02 * capacitance * 9.0, "{emptied} C");
        }
    }
}

/// t = C dV / I.
#[test]
fn down_programming_takes_what_its_sink_and_the_capacitors_say() {
    for (sink, load) in [(0.05, 0.0), (0.05, 0.01), (0.0, 0.01)] {
        let (draws, drawn) = (format!("C1 in 0 90u\nI1 in 0 DC {load}"), sink + load);
        for loops in [None, looped(1.0).loops] {
            let mut world = on_thing(described(&draws), Electrics { sink, loops, ..plain() }, 1);
            world.set_output(at(9.0, 3.0), FREE);
            world.advance(0.5);
            world.set_output(at(4.0, 3.0), FREE);
            let takes = 100e-6 * 5.0 / drawn;
            world.advance(0.5 + takes / 2.0);
            assert!((world.see().terminal - 6.5).abs() < 0.02, "{sink} {load}: {:?}", world.see());
            world.advance(0.5 + takes * 0.99);
            assert!(world.see().terminal > 4.0, "{sink} {load}: {:?}", world.see());
            world.advance(0.5 + takes + 5e-3);
            assert!((world.see().terminal - 4.0).abs() < 0.005, "{sink} {load}: {:?}", world.see());
        }
    }
}

#[test]
fn the_set_voltage_rises_along_a_line() {
    for loops in [None, looped(1.0).loops] {
        let mut world = on(Ohms(1e3), Electrics { loops, ..plain() });
        // 30 V in 10 ms.
        world.set_output(Source { slew: (3e3, 3e3), ..at(9.0, 3.0) }, FREE);
        for time in [1e-3, 2e-3] {
            world.advance(time);
            // A loop is behind a ramp by 2 z T: 100 us.
            let behind = loops.map_or(0.0, |_| 100e-6);
            assert!((world.see().terminal - 3e3 * (time - behind)).abs() < 0.02, "{time}: {:?}", world.see());
        }
        world.advance(5e-3);
        assert!((world.see().terminal - 9.0).abs() < 1e-3);
    }
}

#[test]
fn over_voltage_protection_waits_for_its_delay_and_starts_again_when_it_is_over() {
    // Overshot by 25 % for some 100 us: 0.5 V becomes 0.63 V.
    for (delay, trips) in [(0.0, true), (20e-6, true), (150e-6, false)] {
        let mut world = on(OPEN, Electrics { over_voltage_delay: delay, ..looped(0.4) });
        world.set_output(at(0.5, 3.0), Guards { voltage: Some(0.55), current: None });
        world.advance(0.1);
        assert_eq!(world.tripped().is_some(), trips, "{delay}: {:?}", world.tripped());
        if let Some((over, time)) = world.tripped() {
            let mut same = on(OPEN, looped(0.4));
            same.set_output(at(0.5, 3.0), FREE);
            same.advance(time - delay);
            assert!(over == Over::Voltage && (same.see().terminal - 0.55).abs() < 1e-4, "{time}: {:?}", same.see());
        }
    }
    // What stays above trips after the delay; what is switched on again counts anew.
    let mut world = on(OPEN, Electrics { over_voltage_delay: 5e-3, ..plain() });
    let guards = Guards { voltage: Some(8.0), current: None };
    world.set_output(at(5.0, 3.0), guards);
    world.advance(1.0);
    world.set_output(at(9.0, 3.0), guards);
    world.advance(2.0);
    assert!((world.tripped().unwrap().1 - 1.005).abs() < 1e-5, "{:?}", world.tripped());
    world.set_output(Source { on: false, ..at(5.0, 3.0) }, guards);
    world.set_output(at(5.0, 3.0), guards);
    world.advance(3.0);
    assert_eq!(world.tripped(), None);
}

/// The two meanings that makers give the delay of over-current protection.
#[test]
fn the_delay_of_over_current_counts_from_limiting_or_from_the_last_change() {
    let guards = Guards { voltage: None, current: Some(0.3) };
    // Limiting begins with a change at 1 s, or with the unit at 2 s.
    let late = "R0 in 0 1k\nS1 in x c 0 sw\nR1 x 0 10\nV1 c 0 PWL(0 0 2 0 2.001 5)\n.model sw SW(VT=2.5 VH=0.1 RON=1m ROFF=1e9)";
    for (counts, after_change, by_itself) in [(Counts::FromLimiting, 1.3, 2.3), (Counts::FromChange, 1.3, 2.0)] {
        let electrics = Electrics { counts, ..plain() };
        let mut world = on(Ohms(10.0), electrics);
        world.set_output(at(0.1, 0.05), guards);
        world.advance(1.0);
        world.set_output(at(9.0, 0.05), guards);
        world.advance(5.0);
        assert!((world.tripped().unwrap().1 - after_change).abs() < 2e-3, "{counts:?}: {:?}", world.tripped());
        let mut world = on_thing(described(late), electrics, 1);
        world.set_output(at(9.0, 0.05), guards);
        world.advance(5.0);
        assert!((world.tripped().unwrap().1 - by_itself).abs() < 2e-3, "{counts:?}: {:?}", world.tripped());
    }
    // Disarmed while it counts, it does not trip; it latches once it has.
    let mut world = on(Ohms(10.0), plain());
    world.set_output(at(9.0, 0.05), guards);
    world.advance(0.2);
    world.set_output(at(9.0, 0.05), FREE);
    world.advance(1.0);
    assert_eq!(world.tripped(), None);
    world.set_output(at(9.0, 0.05), guards);
    world.advance(9.0);
    assert!((world.tripped().unwrap().1 - 1.3).abs() < 1e-3 && world.see().current.abs() < 1e-6, "{:?}", world.tripped());
}

/// Sums of `count` squares of standard normal values lie within these, with a chance of
/// 99.9 %: chi-square by Wilson and Hilferty (Abramowitz and Stegun, 26.4.17; 3.2905 is
/// the normal's 99.95 %).
fn chi_square(count: f64) -> (f64, f64) {
    let h = 2.0 / (9.0 * count);
    let at = |z: f64| count * (1.0 - h + z * h.sqrt()).powi(3);
    (at(-3.2905), at(3.2905))
}

const HISS: Noise = Noise { rms: 2e-3, bandwidth: 10e3 };

#[test]
fn noise_has_its_rms_at_the_unit_and_its_means_what_is_left_of_it() {
    let electrics = Electrics { noise: Some(HISS), ..plain() };
    let (low, high) = chi_square(400.0);
    for seed in 1..=5 {
        let mut world = on_thing(Thing::Resistor(Ohms(1e4)), electrics, seed);
        world.set_output(at(5.0, 3.0), FREE);
        world.advance(1.0);
        let (mut now, mut means, mut amperes) = (0.0, 0.0, 0.0);
        let window = 0.02;
        for i in 1..=400 {
            let begins = 1.0 + f64::from(i) * 0.25;
            world.advance(begins);
            let (volts, charge) = (world.volt_seconds(), world.charge());
            world.advance(begins + window);
            now += ((world.see().unit - 5.0) / HISS.rms).powi(2);
            means += ((world.volt_seconds() - volts) / window - 5.0).powi(2);
            amperes += ((world.charge() - charge) / window - 0.5e-3).powi(2);
        }
        assert!(now > low && now < high, "seed {seed}: {now}");
        // The mean of T: rms / sqrt(2 B T).
        let left = HISS.rms / (2.0 * HISS.bandwidth * window).sqrt();
        let means = means / (left * left);
        assert!(means > low && means < high, "seed {seed}: {means}");
        let amperes = amperes / (left / 1e4).powi(2);
        assert!(amperes > low && amperes < high, "seed {seed}: {amperes}");
    }
}

#[test]
fn noise_costs_a_few_steps_a_look_and_nothing_in_an_hour_without_one() {
    let mut world = on(Ohms(750.0), Electrics { noise: Some(HISS), ..plain() });
    world.set_output(at(9.0, 3.0), FREE);
    world.advance(1.0);
    let before = world.steps();
    world.advance(3601.0);
    let hour = world.steps() - before;
    assert!(hour < 300, "{hour} steps");
    for second in 0..100 {
        world.advance(3602.0 + f64::from(second));
    }
    let look = (world.steps() - before - hour) / 100;
    assert!(look < 150, "{look} steps a look");
    // Off there is none.
    world.set_output(Source { on: false, ..at(9.0, 3.0) }, FREE);
    world.advance(4000.0);
    let before = world.steps();
    world.advance(8000.0);
    assert!(world.steps() - before < 20 && world.see().unit.abs() < 1e-6, "{:?}", world.see());
}

#[test]
fn one_seed_gives_one_noise_and_another_another() {
    let seen = |seed: u64| {
        let mut world = on_thing(Thing::Resistor(Ohms(100.0)), Electrics { noise: Some(HISS), ..plain() }, seed);
        world.set_output(at(5.0, 3.0), FREE);
        (1..50)
            .map(|i| {
                world.advance(f64::from(i) * 0.1);
                world.see().unit
            })
            .collect::<Vec<_>>()
    };
    assert_eq!(seen(3), seen(3));
    assert_ne!(seen(3), seen(4));
}

/// A device, set to a voltage and a limit.
fn device(bench: &Bench, seed: u64, world: &mut World, voltage: f64, limit: f64) -> SupplyDevice {
    let seat = &bench.supply;
    let mut device = SupplyDevice::new(&seat.profile, seat.profile.supply().unwrap(), seat, seed);
    device.by_hand(Some(voltage), Some(limit), Some(true), world);
    device
}

#[test]
fn settings_are_off_within_their_accuracy_rows_and_never_exact() {
    for (name, _) in SHIPPED.iter().filter(|(name, _)| name.starts_with("supply")) {
        let bench = bench(name, "meter-plain", "in series");
        let profile = bench.supply.profile.supply().unwrap().clone();
        let row = |setting: &crate::instrument::profile::Setting, value: f64, range: f64| {
            setting.accuracy.unwrap_or_else(|| panic!("{name} says nothing of its settings")).half_width(value, range)
        };
        let mut world = on(OPEN, plain());
        let mut spread = (0.0_f64, 0.0_f64);
        for (voltage, limit) in [(0.5, 0.02), (9.0, 0.1), (15.0, 1.0)] {
            let allowed =
                (row(&profile.voltage, voltage, profile.rated_voltage.0), row(&profile.current, limit, profile.rated_current.0));
            for seed in 0..1000 {
                let source = device(&bench, seed, &mut world, voltage, limit).source();
                let off = (source.voltage - voltage, source.limit - limit);
                assert!(off.0 != 0.0 && off.0.abs() < allowed.0, "{name}, seed {seed}: {voltage} V comes to {}", source.voltage);
                assert!(off.1 != 0.0 && off.1.abs() < allowed.1, "{name}, seed {seed}: {limit} A comes to {}", source.limit);
                spread = (spread.0.max(off.0.abs() / allowed.0), spread.1.max(off.1.abs() / allowed.1));
            }
        }
        // And they are not all next to exact.
        assert!(spread.0 > 0.7 && spread.1 > 0.7, "{spread:?}");
    }
}

#[tokio::test(start_paused = true)]
async fn read_backs_are_off_within_their_accuracy_rows_and_in_steps() {
    let bench = bench("supply-channel-list", "meter-plain", "in series");
    let profile = bench.supply.profile.supply().unwrap().clone();
    // 9 V on 750 ohm: 12 mA.
    let load = UNIT.replace("12 mA", "1 nA").replace("50 uA", "1 nA") + "short = { above = \"0 V\", resistance = \"750 ohm\" }\n";
    let mut wrong = std::collections::BTreeSet::new();
    for seed in 0..100 {
        let rig = Rig::build(&bench, &unit(&load), "unit", seed, Clock::start(1.0)).unwrap();
        rig.turn(Some(crate::units::Volts(9.0)), None, Some(true));
        rig.clock().sleep(crate::units::Seconds(0.5)).await;
        let truth = rig.seen();
        for (ask, truth, row) in [
            ("MEAS:VOLT? (@1)", truth.terminal, &profile.measured_voltage),
            ("MEAS:CURR? (@1)", truth.current, &profile.measured_current),
        ] {
            let message::Does::Answers(text) = rig.handle(crate::instrument::Role::Supply, ask) else { panic!("{ask}") };
            let read: f64 = text.parse().unwrap();
            let off = read - truth;
            let allowed = row.accuracy.half_width(truth, 0.0) + row.resolution;
            assert!(off.abs() < allowed, "seed {seed}: {ask} {read} for {truth}");
            assert!(((read / row.resolution).round() * row.resolution - read).abs() < 1e-9);
            wrong.insert((ask, (off / row.resolution).round() as i64));
        }
    }
    // Several steps apart, not one value for all.
    assert!(wrong.iter().filter(|w| w.0.contains("VOLT")).count() > 3, "{wrong:?}");
}

#[test]
fn an_output_capacitor_and_more_can_be_said_in_the_bench_file() {
    let text = "[supply]\nprofile = \"supply-channel-list\"\n[supply.electrics]\ncapacitor = \"470 uF\"\npreload = \"2 kohm\"\nresistance = \"5 mohm\"\n\
        rise = \"50 ms\"\nfall = \"1 s\"\nsink = \"0 A\"\noff_is = \"zero volts\"\ncrossover = \"1 ms\"\nsurge = \"4 A\"\nrecovery = \"80 us\"\n\
        voltage_loop = \"30 us\"\novershoot = \"10 %\"\ncurrent_loop = \"60 us\"\nnoise = { rms = \"0.4 mV\", bandwidth = \"20 kHz\" }\n\
        over_voltage_delay = \"20 us\"\nover_current_counts = \"from a change\"\n";
    let bench = Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}"));
    let seat = &bench.supply;
    let device = SupplyDevice::new(&seat.profile, seat.profile.supply().unwrap(), seat, 1);
    let made = device.electrics();
    // A second-order system with z = 0.5912 overshoots by 10 % (worked from the formula above).
    let loops = made.loops.unwrap();
    assert!((loops.damping - 0.5912).abs() < 1e-4 && (loops.voltage, loops.current) == (30e-6, 60e-6), "{loops:?}");
    let said = Electrics {
        capacitance: Farads(470e-6).0,
        preload: 2e3,
        resistance: 5e-3,
        crossover: 1e-3,
        surge: 4.0,
        recovery: 80e-6,
        sink: 0.0,
        loops: made.loops,
        over_voltage_delay: 20e-6,
        counts: Counts::FromChange,
        noise: Some(Noise { rms: 0.4e-3, bandwidth: 20e3 }),
        sense: crate::rehearsal::world::Sense::Local,
    };
    assert!(format!("{made:?}") == format!("{said:?}"), "{made:?}");
    let source = device.source();
    assert_eq!((source.off, source.slew), (OffState::ZeroVolts, (600.0, 30.0)));
}
