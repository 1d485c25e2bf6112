//! Who must hear what, when, how often, and through which channel. Findings come in; messages, withdrawals and
//! the next moment to look go out. It decides and never sends: `notify` carries.
//!
//! Everything said is kept in the [`Ledger`], which follows from the journal: what is already told, to whom, what
//! was answered, and what is still on its way.

mod answers;
mod call;
mod carry;
mod ledger;
mod policy;
mod roster;
mod set_back;
mod write;

pub use carry::{Trouble, due, troubles};
pub use ledger::{Answered, Ledger, Way};
pub use policy::{Decided, Noted, Present, decide, hear_back, recall};
pub use roster::{Holder, Quiet, duty_changes, holder, local, on_duty, order, quiet};
pub use write::{addressed, buttons};
