//! Typed quantities, solution chemistry and brewing models.
//!
//! Everything here is a pure function of its arguments: no browser, clock,
//! storage, random numbers or JSON. Every quantity that crosses a public
//! boundary carries its unit in its type.

pub mod brew;
pub mod chem;
pub mod data;
pub mod numeric;
pub mod quantity;
