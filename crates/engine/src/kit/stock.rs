//! What lies in the store, and what is wished of it: pieces, places, wishes.

/// The values of one feature on one piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Name of the feature.
    pub feature: String,
    /// Its values in order of position: whole nanometres or milligrams.
    pub values: Vec<i64>,
    /// Standard uncertainty of each value, in the same steps; 0 or more.
    pub uncertainty: f64,
}

impl Measured {
    /// Values that are taken as sure.
    #[must_use]
    pub fn sure(feature: &str, values: Vec<i64>) -> Self {
        Self { feature: feature.to_owned(), values, uncertainty: 0.0 }
    }
}

/// A numbered piece, or all pieces of one grade.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Name of its role.
    pub role: String,
    /// Its number, or the name of the grade; once in its role.
    pub id: String,
    /// Every feature of its role, once each, in any order.
    pub measured: Vec<Measured>,
    /// How many lie in the store, those already fitted included: 1 for a numbered piece.
    pub stock: i64,
}

/// One piece in one place of one engine.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Placed {
    /// Id of the host.
    pub host: String,
    /// Name of the role.
    pub role: String,
    /// Place within the role, counted from 1.
    pub place: usize,
    /// Id of the piece, or name of the grade.
    pub piece: String,
}

/// A piece or grade by its role and id.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Named {
    /// Name of the role.
    pub role: String,
    /// Its id.
    pub id: String,
}

/// What is wished of a matching beside the rules of the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wish {
    /// This piece lies in this place already, or is pinned to it; nothing else goes there, and the
    /// rest is matched around it. It stays even where the engine is not completed.
    Fitted(Placed),
    /// This piece or grade is not used, a host not built.
    Held(Named),
    /// This piece or grade goes into no engine but that of this host.
    Reserved {
        /// The piece or grade.
        piece: Named,
        /// Id of the host.
        host: String,
    },
    /// These two never go into one engine. A host may be one of them.
    Apart(Named, Named),
    /// Among equally many engines those with the higher rank are preferred; 0 where none is given.
    Rank {
        /// Id of the host.
        host: String,
        /// Its rank, highest first, as in [`crate::set::wishes::Rank`].
        rank: u32,
    },
}
