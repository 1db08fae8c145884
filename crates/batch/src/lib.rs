//! The batch document and its plan.
