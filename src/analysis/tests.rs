//! Checks against published values; the source stands beside each.
mod by_hand;
mod certified;
mod conduction_constants;
mod dependence;
mod judged;
mod limits;
mod node;
mod numeric;
mod published;
mod ramps;
mod rates;
mod sampling;
mod signature;
mod simulated;
mod sweeps;
mod uncertainty;
mod wandering;
