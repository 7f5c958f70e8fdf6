//! How a stand-in dresses its numbers: as its profile says, in scales, without points, with
//! decimal commas; and beside it, against its profile.
//!
//! A device writes a number in volts, amperes or seconds, in SCPI's way, with commas
//! between fields. Holds always: where a profile says nothing special, nothing is changed.

use super::order::{Function, Item, MeterOrder, Order, SupplyOrder};
use crate::instrument::profile::{Kind, MeterProfile, Numbers, Profile, ReplyForm, SupplyProfile};
use crate::plan::Quirks;

/// How its numbers are dressed.
#[derive(Clone, Debug)]
pub struct Dress {
    /// What has another form than SCPI's: by order, the forms of the fields in the answer.
    forms: Vec<(Order, Vec<ReplyForm>)>,
    comma: bool,
    behind: Option<String>,
}

impl Dress {
    /// That of a profile, and what its stand-in does against it.
    pub fn new(profile: &Profile, quirks: &Quirks) -> Self {
        let mut forms = match &profile.kind {
            Kind::Supply(supply) => of_supply(supply),
            Kind::Meter(meter) => of_meter(meter),
        };
        forms.retain(|(_, forms)| forms.iter().any(is_special));
        Self { forms, comma: quirks.decimal_comma, behind: quirks.unit_in_answers.clone() }
    }

    /// Dresses what an order is answered with.
    pub fn put_on(&self, order: Order, text: String) -> String {
        let text = match self.forms.iter().find(|(known, _)| *known == order) {
            Some((_, forms)) => formed(&text, forms),
            None => text,
        };
        let text = if self.comma { text.replace('.', ",") } else { text };
        match &self.behind {
            Some(behind) => text + behind,
            None => text,
        }
    }
}

fn is_special(form: &ReplyForm) -> bool {
    form.scale.is_some() || form.packed.is_some() || form.numbers != Numbers::default()
}

fn of_supply(supply: &SupplyProfile) -> Vec<(Order, Vec<ReplyForm>)> {
    let ask = |item, form: &ReplyForm| (Order::Supply(SupplyOrder::Ask(item)), vec![form.clone()]);
    let measure = |voltage, current| Order::Supply(SupplyOrder::Measure { voltage, current });
    let mut forms = vec![ask(Item::Voltage, &supply.voltage.reply), ask(Item::Current, &supply.current.reply)];
    forms.extend(supply.over_voltage.iter().filter_map(|p| p.level.as_ref()).map(|s| ask(Item::OverVoltage, &s.reply)));
    forms.extend(supply.over_current.iter().filter_map(|p| p.delay.as_ref()).map(|d| ask(Item::Delay, &d.setting.reply)));
    forms.extend(supply.watchdog.iter().map(|w| ask(Item::Timer, &w.delay.setting.reply)));
    let (v, i) = (&supply.measured_voltage, &supply.measured_current);
    if v.ask == i.ask {
        let mut both = vec![v.reply.clone(), i.reply.clone()];
        both.sort_by_key(|form| (form.field, form.packed.map(|p| p.at)));
        forms.push((measure(true, true), both));
    } else {
        forms.push((measure(true, false), vec![v.reply.clone()]));
        forms.push((measure(false, true), vec![i.reply.clone()]));
    }
    forms
}

fn of_meter(meter: &MeterProfile) -> Vec<(Order, Vec<ReplyForm>)> {
    // A meter's functions answer in one form; the first that there is tells.
    let Some(function) = meter.current.as_ref().or(meter.voltage.as_ref()) else { return Vec::new() };
    let mut fields = vec![ReplyForm { numbers: function.reply.numbers, ..ReplyForm::default() }; function.reply.field.max(1) - 1];
    fields.push(function.reply.clone());
    let measure = [Function::Current, Function::Voltage].map(MeterOrder::Measure);
    let orders = [MeterOrder::Read, MeterOrder::Collect, MeterOrder::Fetch].into_iter().chain(measure);
    orders.map(|order| (Order::Meter(order), fields.clone())).collect()
}

fn formed(text: &str, forms: &[ReplyForm]) -> String {
    let mut digits: Vec<char> = Vec::new();
    let mut fields = Vec::new();
    let mut between = ',';
    for (field, form) in text.split(',').zip(forms) {
        between = form.numbers.fields;
        let (before, number, behind) = taken_apart(field);
        let Ok(value) = number.parse::<f64>() else {
            fields.push(field.to_owned());
            continue;
        };
        let counted = value / form.scale.unwrap_or(1.0);
        match &form.packed {
            Some(packed) => {
                digits.resize(digits.len().max(packed.width), '0');
                let written = format!("{:0width$.0}", counted.abs(), width = packed.digits);
                let places = digits.iter_mut().skip(packed.at - 1).take(packed.digits);
                // What has more digits than there is room for shows its last ones, as a display does.
                for (place, digit) in places.zip(written.chars().skip(written.len().saturating_sub(packed.digits))) {
                    *place = digit;
                }
            }
            None if form.scale.is_some() => {
                let decimals = number.split_once('.').map_or(0, |(_, d)| d.len());
                let fewer = form.scale.map_or(0.0, |scale| -scale.log10().round()).max(0.0) as usize;
                let written = format!("{counted:.0$}", decimals.saturating_sub(fewer));
                fields.push(format!("{before}{}{behind}", spelled(&written, form.numbers)));
            }
            None => fields.push(format!("{before}{}{behind}", spelled(number, form.numbers))),
        }
    }
    if !digits.is_empty() {
        return digits.into_iter().collect();
    }
    fields.join(&between.to_string())
}

/// What stands before a number, the number, and what stands behind it.
fn taken_apart(field: &str) -> (&str, &str, &str) {
    let is_number = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.');
    // A prefix may hold digits, and ends with a blank.
    let start = field.rfind(' ').map(|at| at + 1).filter(|at| field.get(*at..).is_some_and(|t| t.starts_with(is_number)));
    let start = start.or_else(|| field.find(is_number)).unwrap_or(field.len());
    let (before, rest) = field.split_at(start);
    let bytes = rest.as_bytes();
    let end = (0..bytes.len())
        .find(|at| {
            let byte = bytes.get(*at).copied().unwrap_or(0);
            let exponent = byte == b'E' && bytes.get(at + 1).is_some_and(|b| matches!(b, b'+' | b'-' | b'0'..=b'9'));
            !(byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'.') || exponent)
        })
        .unwrap_or(bytes.len());
    let (number, behind) = rest.split_at(end);
    (before, number, behind)
}

/// A number in the dialect's way.
fn spelled(number: &str, numbers: Numbers) -> String {
    let (mantissa, exponent) = number.split_at(number.find('E').unwrap_or(number.len()));
    let (whole, decimals) = mantissa.split_once('.').map_or((mantissa, None), |(w, d)| (w, Some(d)));
    let sign = whole.len() - whole.trim_start_matches(['+', '-']).len();
    let (sign, digits) = whole.split_at(sign);
    let mut text = sign.to_owned();
    for (at, digit) in digits.char_indices() {
        if let Some(group) = numbers.group.filter(|_| at > 0 && (digits.len() - at).is_multiple_of(3)) {
            text.push(group);
        }
        text.push(digit);
    }
    if let Some(decimals) = decimals {
        text.push(numbers.decimal);
        text.push_str(decimals);
    }
    text + exponent
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::profile::Packed;

    #[test]
    fn numbers_are_dressed_as_the_profile_says() {
        let numbers = Numbers { decimal: ',', group: Some('.'), fields: ';' };
        let comma = |field| ReplyForm { field, numbers, ..ReplyForm::default() };
        assert_eq!(formed("9.00,0.01", &[comma(1), comma(2)]), "9,00;0,01");
        assert_eq!(formed("+1.2345E-02 A DC", &[comma(0)]), "+1,2345E-02 A DC");
        assert_eq!(formed("V1 12345.5V", &[comma(0)]), "V1 12.345,5V");
        assert_eq!(formed("OL", &[comma(0)]), "OL");
        let packed = |at, scale| ReplyForm {
            packed: Some(Packed { at, digits: 3, width: 6 }),
            scale: Some(scale),
            ..ReplyForm::default()
        };
        // QUIRKS row 34.
        assert_eq!(formed("18.00,2.00", &[packed(1, 0.1), packed(4, 0.01)]), "180200");
        let milli = ReplyForm { scale: Some(1e-3), ..ReplyForm::default() };
        assert_eq!(formed("9.000", std::slice::from_ref(&milli)), "9000");
        let grouped = ReplyForm { numbers: Numbers { group: Some(','), fields: ';', ..Numbers::default() }, ..milli };
        assert_eq!(formed("9.000", &[grouped]), "9,000");
    }
}
