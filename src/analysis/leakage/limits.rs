//! What a capacitor may leak: the customary limits by kind, series, time and
//! temperature, each with its working and its source.
//!
//! C in uF, V rated, leakage in uA throughout, as the handbooks write it. A limit
//! has no value without its time: [`Limit::after`] says for which it holds.

use super::Dielectric;
use crate::units::{Amperes, Celsius, Farads, Ohms, Seconds, Unit, Volts, engineering};

/// A limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Largest leakage.
    pub limit: Amperes,
    /// How it comes about, with the numbers.
    pub working: String,
    /// Where it comes from.
    pub source: String,
    /// The electrification time that it holds for.
    pub after: (Seconds, Seconds),
    /// What to mind: the temperature is none that the source names, for instance.
    pub caution: Option<String>,
}

/// Which table a limit is looked up in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// The customary one of the kind: solid tantalum chips, radial aluminium, ceramic
    /// by its rating, polypropylene film.
    Handbook,
    /// Solid tantalum with leads.
    LeadedTantalum,
    /// Aluminium of other series, which are allowed more at 1 min.
    GeneralAluminium,
    /// Aluminium with low leakage.
    LowLeakageAluminium,
    /// Aluminium by the old joint specification.
    JanC62,
    /// Ceramic X7R, typical and not guaranteed.
    TypicalX7r,
    /// Polyester film.
    Polyester,
}

impl Series {
    /// Every series, with its name in a plan and the kind that it belongs to (`None`: all).
    pub const ALL: [(&'static str, Series, Option<Dielectric>); 7] = [
        ("handbook", Series::Handbook, None),
        ("leaded tantalum", Series::LeadedTantalum, Some(Dielectric::SolidTantalum)),
        ("general aluminium", Series::GeneralAluminium, Some(Dielectric::Aluminium)),
        ("low-leakage aluminium", Series::LowLeakageAluminium, Some(Dielectric::Aluminium)),
        ("JAN-C-62", Series::JanC62, Some(Dielectric::Aluminium)),
        ("typical X7R", Series::TypicalX7r, Some(Dielectric::Ceramic)),
        ("polyester", Series::Polyester, Some(Dielectric::Film)),
    ];

    /// Its name in a plan.
    pub fn name(self) -> &'static str {
        Self::ALL.iter().find(|(_, s, _)| *s == self).map_or("handbook", |(name, ..)| name)
    }

    /// Whether it speaks of this kind of part.
    pub fn is_for(self, kind: Dielectric) -> bool {
        Self::ALL.iter().any(|(_, s, of)| *s == self && of.is_none_or(|of| of == kind))
    }
}

/// A part, as far as its limit hangs on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    /// What it is.
    pub kind: Dielectric,
    /// Which table.
    pub series: Series,
    /// Its capacitance.
    pub capacitance: Farads,
    /// Its rated voltage.
    pub rated: Volts,
    /// Its temperature; `None`: as the room, 20 to 25 degC.
    pub temperature: Option<Celsius>,
    /// Time under bias before the leakage is read.
    pub electrify: Seconds,
}

impl Asked {
    fn product(&self) -> f64 {
        self.capacitance.0 * 1e6 * self.rated.0
    }

    /// The larger of a share of CV and a floor, in uA.
    fn larger(&self, share: f64, floor: f64) -> (f64, String) {
        let made = share * self.product();
        let working =
            format!("the larger of {share} uA/(uF V) × {} × {} = {} and {floor} uA", self.capacitance, self.rated, micro(made));
        (made.max(floor), working)
    }

    /// A share of CV and a constant, in uA.
    fn sum(&self, share: f64, constant: f64) -> (f64, String) {
        let made = share * self.product() + constant;
        let working = format!("{share} uA/(uF V) × {} × {} + {constant} uA = {}", self.capacitance, self.rated, micro(made));
        (made, working)
    }

    /// The rated voltage over the least of a resistance and an ohm-farad product, in uA.
    fn insulation(&self, top: f64, product: f64) -> (f64, String) {
        let by_product = product / self.capacitance.0;
        let resistance = top.min(by_product);
        let working = format!(
            "{} over the lesser of {} and {} s / {} = {}",
            self.rated,
            Ohms(top),
            product,
            self.capacitance,
            engineering(by_product, Unit::Ohm, 3)
        );
        (self.rated.0 / resistance * 1e6, working)
    }
}

fn micro(value: f64) -> String {
    engineering(value * 1e-6, Unit::Ampere, 3)
}

const MINUTE: f64 = 60.0;

fn after(from: f64, to: f64) -> (Seconds, Seconds) {
    (Seconds(from * MINUTE), Seconds(to * MINUTE))
}

fn made((micro, working): (f64, String), source: &str, after: (Seconds, Seconds)) -> Limit {
    Limit { limit: Amperes(micro * 1e-6), working, source: source.into(), after, caution: None }
}

/// The limit of a part in its series, at its temperature and electrification time.
///
/// A series that is none of the kind's counts as the kind's customary one; the check
/// of a plan refuses it before.
pub fn limit(asked: &Asked) -> Limit {
    let series = if asked.series.is_for(asked.kind) { asked.series } else { Series::Handbook };
    match asked.kind {
        Dielectric::SolidTantalum => tantalum(asked, series),
        Dielectric::Aluminium => at_the_room(asked, aluminium(asked, series)),
        Dielectric::Ceramic => at_the_room(asked, ceramic(asked, series)),
        Dielectric::Film => at_the_room(asked, film(asked, series)),
    }
}

/// The tables of these kinds hold at 20 to 25 degC and give no other.
fn at_the_room(asked: &Asked, limit: Limit) -> Limit {
    let caution = asked
        .temperature
        .filter(|t| !(15.0..=35.0).contains(&t.0))
        .map(|t| format!("it holds at room temperature, and no customary one is known for {t}: take the data sheet's"));
    Limit { caution, ..limit }
}

/// Chips: max(0.01 C V, 0.5), at 85 degC max(0.1 C V, 5), at 125 degC and the derated
/// voltage max(0.125 C V, 6.3). With leads: 10 and 12 times the limit at 25 degC;
/// other makers say 12.5 (decided: 12 with leads, as the stricter, 12.5 for chips, as
/// their own row says). Between the temperatures the logarithm is interpolated
/// (common practice), below 25 degC the limit of the room holds.
fn tantalum(asked: &Asked, series: Series) -> Limit {
    let leaded = series == Series::LeadedTantalum;
    let (room, working) = asked.larger(0.01, 0.5);
    let (at_85, at_125) =
        if leaded { (room * 10.0, room * 12.0) } else { (asked.larger(0.1, 5.0).0, asked.larger(0.125, 6.3).0) };
    let (source, time) = if leaded {
        (
            "makers' handbooks, solid tantalum with leads, 25 degC, 5 min through 1 kohm; 10 times at 85 degC, 12 times at 125 degC",
            after(3.0, 5.0),
        )
    } else {
        ("makers' handbooks, solid tantalum, 25 degC, chips 1 min, with leads up to 5 min through 1 kohm", after(1.0, 5.0))
    };
    let t = asked.temperature.map_or(25.0, |t| t.0);
    if t <= 35.0 {
        let cold = (t < 15.0).then(|| "below room temperature no limit is tested; that of 25 degC is taken".to_owned());
        return Limit { caution: cold, ..made((room, working), source, time) };
    }
    let (named, value) = match t {
        t if t <= 85.0 => ((25.0, 85.0), room * (at_85 / room).powf((t - 25.0) / 60.0)),
        t => ((85.0, 125.0), at_85 * (at_125 / at_85).powf(((t - 85.0) / 40.0).min(1.0))),
    };
    let how = format!("{working}; at 85 degC {}, at 125 degC {}", micro(at_85), micro(at_125));
    let caution = if t > 125.0 {
        Some("it is hotter than any temperature that a limit is given for".to_owned())
    } else if t == named.1 {
        None
    } else {
        Some(format!(
            "the handbooks give {} and {}; between them the logarithm is interpolated (common practice)",
            Celsius(named.0),
            Celsius(named.1)
        ))
    };
    let how = format!("{how}; at {} {}", Celsius(t), micro(value));
    Limit { caution, ..made((value, how), source, time) }
}

fn aluminium(asked: &Asked, series: Series) -> Limit {
    let minutes = asked.electrify.0 / MINUTE;
    let high = asked.rated.0 > 100.0;
    match series {
        Series::LowLeakageAluminium => made(
            asked.larger(0.002, 0.2),
            "makers' handbooks, aluminium of low leakage, 20 degC, 1 or 2 min by case size",
            after(1.0, 2.0),
        ),
        Series::JanC62 => jan_c_62(asked),
        Series::GeneralAluminium if minutes < 2.0 && !high => {
            made(asked.larger(0.03, 4.0), "makers' handbooks, aluminium, general purpose, 20 degC, 1 min", after(1.0, 2.0))
        }
        _ if high && minutes < 5.0 => {
            made(asked.sum(0.06, 10.0), "makers' handbooks, aluminium above 100 V, 20 degC, 2 min", after(2.0, 5.0))
        }
        _ if high => {
            let (share, constant) = if asked.product() <= 1000.0 { (0.03, 15.0) } else { (0.02, 25.0) };
            made(asked.sum(share, constant), "makers' handbooks, aluminium above 100 V, 20 degC, 5 min", after(5.0, 5.0))
        }
        Series::Handbook if minutes >= 5.0 => {
            made(asked.sum(0.002, 3.0), "makers' handbooks, radial aluminium, 20 degC, 5 min", after(5.0, 5.0))
        }
        _ => made(asked.larger(0.01, 3.0), "makers' handbooks, radial aluminium, 20 degC, 2 min", after(2.0, 5.0)),
    }
}

/// The old joint specification: I in mA = k C + 0.3, k by the rated voltage. It gives a
/// leakage of 1.1 mA for 20 uF, 450 V, and 0.7 mA for 20 uF, 250 V.
fn jan_c_62(asked: &Asked) -> Limit {
    let (k, upto) = match asked.rated.0 {
        v if v <= 100.0 => (0.01, 100.0),
        v if v <= 250.0 => (0.02, 250.0),
        v if v <= 350.0 => (0.025, 350.0),
        _ => (0.04, 450.0),
    };
    let c = asked.capacitance.0 * 1e6;
    let milli = k * c + 0.3;
    let working = format!("{k} mA/uF (to {upto} V) × {} + 0.3 mA = {}", asked.capacitance, micro(milli * 1e3));
    let caution = (asked.rated.0 > 450.0).then(|| "it goes to 450 V only".to_owned());
    Limit { caution, ..made((milli * 1e3, working), "JAN-C-62, aluminium (old)", after(1.0, 5.0)) }
}

/// By rating: 25 V and more min(10 Gohm, 500 Mohm uF / C), below min(10 Gohm, 100 Mohm uF / C).
/// X7R, typical: min(100 Gohm, 1000 Mohm uF / C). 1 Mohm uF is 1 s.
fn ceramic(asked: &Asked, series: Series) -> Limit {
    if series == Series::TypicalX7r {
        let source = "a maker's figure for X7R, typical: not a limit that a part must keep";
        return made(asked.insulation(100e9, 1000.0), source, after(1.0, 2.0));
    }
    let product = if asked.rated.0 >= 25.0 { 500.0 } else { 100.0 };
    made(
        asked.insulation(10e9, product),
        "makers' handbooks, class 2 ceramic by rating, insulation resistance at the rated voltage, 1 min",
        after(1.0, 2.0),
    )
}

/// Above 0.33 uF a time constant, below a resistance (IEC 60384-1, 4.5.2 gives the
/// method: 1 min ± 5 s, 20 degC). The values are from memory: polypropylene 30 000 s
/// and 100 Gohm, polyester 10 000 s and 30 Gohm.
fn film(asked: &Asked, series: Series) -> Limit {
    let (name, seconds, top) =
        if series == Series::Polyester { ("polyester", 10_000.0, 30e9) } else { ("polypropylene", 30_000.0, 100e9) };
    let small = asked.capacitance.0 <= 0.33e-6;
    let product = if small { top * asked.capacitance.0 } else { seconds };
    let (value, working) = asked.insulation(if small { top } else { f64::INFINITY }, product);
    let working = if small {
        format!("{} over {} (up to 0.33 uF a resistance)", asked.rated, Ohms(top))
    } else {
        working.replace(&format!("the lesser of {} and ", Ohms(f64::INFINITY)), "")
    };
    let source = format!("IEC 60384-1 4.5.2 gives the method (1 min); time constant of {name} from memory");
    made((value, working), &source, after(55.0 / 60.0, 65.0 / 60.0))
}

/// A limit by an ohm-farad product from a data sheet: I = V C / tau, 1 Mohm uF being 1 s.
pub fn by_time_constant(capacitance: Farads, rated: Volts, tau: Seconds, electrify: Seconds) -> Limit {
    let resistance = tau.0 / capacitance.0;
    Limit {
        limit: Amperes(rated.0 / resistance),
        working: format!("{rated} over {tau} / {capacitance} = {}", engineering(resistance, Unit::Ohm, 3)),
        source: "the ohm-farad product that the plan names (1 Mohm uF is 1 s)".into(),
        after: (electrify, electrify),
        caution: None,
    }
}

/// The voltage that solid tantalum bears at a temperature (category voltage): the
/// rated one to 85 degC, from there in a straight line to the derated one at 125 degC,
/// V = Vr − (Vr − Vd) (T − 85) / 40.
pub fn category_voltage(rated: Volts, temperature: Celsius) -> Volts {
    let share = ((temperature.0 - 85.0) / 40.0).clamp(0.0, 1.0);
    rated - (rated - derated(rated)) * share
}

/// The derated voltage at 125 degC. 6.3 V to 4 V is published; the other rows are from
/// memory, the lower where makers differ; what stands in no row is 0.63 of the rated.
fn derated(rated: Volts) -> Volts {
    const ROWS: [(f64, f64); 8] =
        [(4.0, 2.5), (6.3, 4.0), (10.0, 6.3), (16.0, 10.0), (20.0, 13.0), (25.0, 16.0), (35.0, 22.0), (50.0, 32.0)];
    let row = ROWS.iter().find(|(r, _)| (r - rated.0).abs() < 1e-6);
    row.map_or(rated * 0.63, |(_, d)| Volts(*d))
}

/// Insulation resistance at the named time, R = V / I.
pub fn insulation_resistance(volts: Volts, leakage: Amperes) -> Option<Ohms> {
    (leakage.0 > 0.0 && volts.0 > 0.0).then(|| volts / leakage)
}
