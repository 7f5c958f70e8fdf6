//! A lot file: what lies in the tray, who inspects it, and how much of it.
//!
//! A plan says how parts of a kind are measured and serves many lots; a lot file
//! speaks of one.

use super::sampling::{LotBefore, Sampled, every, read as sampled};
use crate::analysis::sampling::draw::positions;
use crate::document::{Document, Places, Problems, Table};
use rand::SeedableRng;
use rand::seq::SliceRandom;

/// A lot.
#[derive(Clone, Debug)]
pub struct Lot {
    /// Its number.
    pub number: String,
    /// Who sent it.
    pub supplier: Option<String>,
    /// What it is: lots of one part are compared.
    pub part: String,
    /// As marked on the parts.
    pub date_code: Option<String>,
    /// How many there are.
    pub quantity: u32,
    /// Serial numbers by position; positions stand for them where the file has none.
    pub serials: Vec<String>,
    /// Who inspects.
    pub operator: String,
    /// What the parts are put into.
    pub fixture: Option<String>,
    /// How many are judged, and what decides.
    pub sampling: Sampled,
    /// Why an expired calibration is let pass, where it is.
    pub overdue: Option<String>,
    /// Where `[lot]` stands in the file.
    pub places: Places,
    /// The text that it was read from.
    pub document: Document,
}

/// The most parts of a lot.
const MOST: u64 = 100_000;

impl Lot {
    /// Reads a lot file from its text.
    ///
    /// # Errors
    /// Every mistake, with its place.
    pub fn read(document: &Document) -> Result<Self, Problems> {
        document.read(|root| {
            root.rename("the lot file");
            let lot = root.need_table("lot").and_then(|table| lot(table, document));
            let sampling = root.table("sampling");
            let (mut lot, sampling) = match (lot, sampling) {
                (Some(lot), Some(table)) => {
                    let made = sampled(table, lot.quantity);
                    (lot, made)
                }
                (lot, _) => return lot,
            };
            lot.sampling = sampling?;
            Some(lot)
        })
    }

    /// The name of the part at a position, from 1.
    pub fn name(&self, position: u32) -> String {
        let serial = usize::try_from(position).ok().and_then(|p| self.serials.get(p.checked_sub(1)?));
        serial.cloned().unwrap_or_else(|| position.to_string())
    }

    /// The same after these earlier lots of its series, where its sampling hangs on them.
    #[must_use]
    pub fn after(&self, before: &[LotBefore]) -> Self {
        let sampling = self.sampling.after(before, self.quantity);
        Self { sampling: sampling.unwrap_or_else(|| self.sampling.clone()), ..self.clone() }
    }

    /// The positions in the order in which parts are taken: the sample first, in the order
    /// of the tray, and then those that stand in for what is skipped. Drawn with `seed`
    /// unless every part is taken.
    pub fn order(&self, seed: u64) -> Vec<u32> {
        let all = 1..=self.quantity;
        if self.is_whole() {
            return all.collect();
        }
        let drawn: Vec<u32> = positions(self.quantity.into(), self.sampling.numbers.sample.into(), seed)
            .into_iter()
            .filter_map(|position| u32::try_from(position).ok())
            .collect();
        let mut rest: Vec<u32> = all.filter(|p| drawn.binary_search(p).is_err()).collect();
        rest.shuffle(&mut rand_chacha::ChaCha8Rng::seed_from_u64(seed));
        let mut order = drawn;
        order.extend(rest);
        order
    }

    /// Whether every part is taken.
    pub fn is_whole(&self) -> bool {
        self.sampling.numbers.sample >= self.quantity
    }
}

fn lot(mut table: Table<'_>, document: &Document) -> Option<Lot> {
    let number = table.need_text("number");
    let part = table.need_text("part");
    let operator = table.need_text("operator");
    let (supplier, date_code) = (table.text("supplier"), table.text("date_code"));
    let (fixture, overdue) = (table.text("fixture"), table.text("overdue"));
    let quantity = match table.has("quantity") {
        true => table.count("quantity", 1, MOST).and_then(|n| u32::try_from(n).ok()),
        false => table.missing("quantity", Some("how many parts there are: quantity = 125".into())),
    };
    let serials = table.texts("serials").unwrap_or_default();
    if let Some(quantity) = quantity
        && !serials.is_empty()
        && u32::try_from(serials.len()) != Ok(quantity)
    {
        let title = format!("{} serial numbers for {quantity} parts", serials.len());
        table.problem("serials", title, "not as many as there are parts", None);
    }
    let mut sorted = serials.clone();
    sorted.sort();
    if let Some(twice) = sorted.windows(2).find(|w| w.first() == w.get(1)).and_then(|w| w.first()) {
        table.problem("serials", format!("the serial number {twice:?} is there twice"), "twice", None);
    }
    if overdue.as_ref().is_some_and(|why| why.trim().is_empty()) {
        table.problem("overdue", "an expired calibration is let pass for a reason", "no reason", None);
    }
    let places = table.places();
    table.finish();
    let quantity = quantity?;
    Some(Lot {
        number: number?,
        supplier,
        part: part?,
        date_code,
        quantity,
        serials,
        operator: operator?,
        fixture,
        sampling: every(quantity),
        overdue,
        places,
        document: document.clone(),
    })
}
