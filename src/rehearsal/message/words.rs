//! From a dialect's own spelling to a header with both forms: `VOLT:PROT:TRIP?` is
//! `VOLTage:PROTection:TRIPped?`, and whoever takes the one takes the other.

use super::slot::Slot;
use crate::scpi::header::Pattern;
use crate::scpi::program::{self, Limits};
use crate::units::Unit;

/// Mnemonics of SCPI-99 (volume 2) that supplies and meters use, in both forms.
const KNOWN: [&str; 58] = [
    "ABORt",
    "AMPLitude",
    "CALibration",
    "CAPability",
    "CHANnel",
    "CLEar",
    "CONDition",
    "CONFigure",
    "COUNt",
    "COUPle",
    "CURRent",
    "DELay",
    "DISable",
    "DISPlay",
    "ENABle",
    "ERRor",
    "EVENt",
    "FETCh",
    "FUNCtion",
    "IMMediate",
    "INITiate",
    "INSTrument",
    "ISUMmary",
    "LEVel",
    "LIMit",
    "LOCal",
    "MEASure",
    "MODE",
    "NEXT",
    "NPLCycles",
    "NSELect",
    "NTRansition",
    "OPERation",
    "OUTPut",
    "POWer",
    "PRESet",
    "PROTection",
    "PTRansition",
    "QUEStionable",
    "RANGe",
    "READ",
    "REMote",
    "RESistance",
    "SAMPle",
    "SCALar",
    "SELect",
    "SENSe",
    "SOURce",
    "STATe",
    "STATus",
    "SYSTem",
    "TIMer",
    "TRACk",
    "TRIGger",
    "TRIPped",
    "UPPer",
    "VERSion",
    "VOLTage",
];

/// A word of a dialect in the usual notation, with its index. `STAT` in front is STATus,
/// behind a colon STATe.
fn noted(place: usize, word: &str) -> String {
    let (name, index) = match word.strip_suffix("{channel}") {
        Some(name) => (name, "#"),
        None => (word, ""),
    };
    let is = |known: &str| {
        let short = known.find(|c: char| c.is_ascii_lowercase()).unwrap_or(known.len());
        let other = if place == 0 { "STATe" } else { "STATus" };
        known != other && (known.eq_ignore_ascii_case(name) || known.get(..short).is_some_and(|s| s.eq_ignore_ascii_case(name)))
    };
    let known = KNOWN.into_iter().find(|known| is(known)).map_or_else(|| name.to_ascii_uppercase(), str::to_owned);
    format!("{known}{index}")
}

/// A template as header and parameters; `None` where it is none.
pub fn header(template: &str, unit: Unit) -> Option<(Pattern, Vec<Slot>)> {
    let (words, parameters) = template.trim().split_once(char::is_whitespace).unwrap_or((template.trim(), ""));
    let (words, query) = match words.strip_suffix('?') {
        Some(words) => (words, "?"),
        None => (words, ""),
    };
    let words = words.strip_prefix(':').unwrap_or(words);
    let text = match words.strip_prefix('*') {
        Some(name) => format!("*{}", name.to_ascii_uppercase()),
        None => words.split(':').enumerate().map(|(place, word)| noted(place, word)).collect::<Vec<_>>().join(":"),
    };
    let pattern = Pattern::new(&format!("{text}{query}")).ok()?;
    let mut slots = Vec::new();
    for text in pieces(parameters) {
        slots.push(match text {
            "{value}" | "{voltage}" => Slot::First(unit),
            "{current}" => Slot::Second(Unit::Ampere),
            "{range}" | "{rate}" => Slot::Choice { unit: Some(unit), needed: true },
            "{channel}" => Slot::Channel,
            "(@{channel})" => Slot::Channels,
            other if other.contains('{') => return None,
            other => {
                let message = format!("X {other}");
                let parsed = program::parse(message.as_bytes(), &Limits::default());
                match (parsed.fault, parsed.units.first()?.parameters.as_slice()) {
                    (None, [one]) => Slot::Literal(one.clone()),
                    _ => return None,
                }
            }
        });
    }
    Some((pattern, slots))
}

/// Parameters between their commas; those in parentheses are one.
fn pieces(text: &str) -> Vec<&str> {
    let mut depth = 0;
    text.split(move |c| {
        depth += i32::from(c == '(') - i32::from(c == ')');
        c == ',' && depth == 0
    })
    .map(str::trim)
    .filter(|piece| !piece.is_empty())
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dialects_spelling_is_met_in_both_forms() {
        let (pattern, slots) = header("VOLT:PROT {value},(@{channel})", Unit::Volt).unwrap();
        assert_eq!(pattern.long(&[]), "VOLTAGE:PROTECTION");
        assert_eq!(slots, [Slot::First(Unit::Volt), Slot::Channels]);
        let (pattern, _) = header("STAT:QUES:INST:ISUM{channel}:COND?", Unit::Volt).unwrap();
        assert_eq!(pattern.matches_path("STATUS:QUES:INST:ISUM2:COND"), Some(vec![2]));
        assert_eq!(header("OUTP OFF,(@1:2)", Unit::Volt).unwrap().1.len(), 2);
        assert!(header("V{channel}O?", Unit::Volt).is_none());
        assert!(header("ROUTE:RAIL R{channel}", Unit::Volt).is_none());
    }

    #[test]
    fn every_known_word_is_a_mnemonic() {
        for word in KNOWN {
            assert!(Pattern::new(word).is_ok(), "{word}");
        }
    }
}
