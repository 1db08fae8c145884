//! Typed quantities, solution chemistry and brewing models.
