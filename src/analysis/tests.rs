//! Checks against published values; the source stands beside each.
mod by_hand;
mod certified;
mod judged;
mod node;
mod numeric;
mod published;
mod rates;
mod uncertainty;
