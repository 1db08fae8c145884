//! The trade on top of chemistry.

mod belief;
pub mod bitterness;
pub mod buffer;
pub mod correction;
pub mod dosing;
pub mod drop;
pub mod extract;
pub mod ferment;
pub mod fruit;
pub mod grist;
pub mod heat;
pub mod kill;
pub mod ledger;
pub mod mash;
pub mod package;
pub mod serving;
pub mod souring;
pub mod titration;
pub mod treatment;
pub mod water;
pub mod yeast;
