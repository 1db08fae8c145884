//! Root finding and least squares.
