//! A thread that writes a record's rows, in their order, while a rehearsal goes on.
//!
//! Holds always: what is asked for (a commit, the hash, the end) has been done with every
//! row before it when the call returns; after an error every further call gives it.
//! Nothing in virtual time waits for the thread but by standing still, as for a disk.

use super::RecordError;
use super::ledger::Ledger;
use super::seal::Hash;
use rusqlite::ToSql;
use rusqlite::types::{ToSqlOutput, Value};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};

/// Rows that go over together, where no commit comes before; and bundles that may wait:
/// some megabytes.
const BUNDLE: usize = 256;
const WAITING: usize = 256;

/// A row, and the table that it goes into.
type Row = (&'static str, Vec<Value>);

enum Order {
    Rows(Vec<Row>),
    Commit,
    Close,
    /// Answered when everything before it has been done.
    Reached(SyncSender<Hash>),
}

/// The near side of the thread, which ends when this is dropped and all has been written.
pub(super) struct Aside {
    orders: SyncSender<Order>,
    /// Rows that have not gone over yet.
    bundle: Vec<Row>,
    failed: Arc<Mutex<Option<RecordError>>>,
}

impl Aside {
    pub(super) fn new(ledger: Box<Ledger>) -> Self {
        let (orders, received) = sync_channel(WAITING);
        let failed = Arc::new(Mutex::new(None));
        let latch = Arc::clone(&failed);
        std::thread::spawn(move || obey(ledger, &received, &latch));
        Self { orders, bundle: Vec::new(), failed }
    }

    fn check(&self) -> Result<(), RecordError> {
        self.failed.lock().unwrap_or_else(PoisonError::into_inner).clone().map_or(Ok(()), Err)
    }

    fn order(&mut self, order: Order) -> Result<(), RecordError> {
        self.check()?;
        self.hand_over()?;
        self.orders.send(order).map_err(|_| gone())
    }

    fn hand_over(&mut self) -> Result<(), RecordError> {
        if self.bundle.is_empty() {
            return Ok(());
        }
        let bundle = std::mem::replace(&mut self.bundle, Vec::with_capacity(BUNDLE));
        self.orders.send(Order::Rows(bundle)).map_err(|_| gone())
    }

    pub(super) fn insert(&mut self, table: &'static str, values: &[&dyn ToSql]) -> Result<(), RecordError> {
        let owned = |value: &&dyn ToSql| match value.to_sql()? {
            ToSqlOutput::Borrowed(value) => Value::try_from(value).map_err(Into::into),
            ToSqlOutput::Owned(value) => Ok(value),
            _ => Ok(Value::Null),
        };
        let row: rusqlite::Result<Vec<Value>> = values.iter().map(owned).collect();
        self.bundle.push((table, row.map_err(RecordError::store("a row could not be written"))?));
        if self.bundle.len() < BUNDLE {
            return Ok(());
        }
        self.check()?;
        self.hand_over()
    }

    pub(super) fn commit_soon(&mut self) -> Result<(), RecordError> {
        self.order(Order::Commit)
    }

    pub(super) fn commit(&mut self) -> Result<(), RecordError> {
        self.order(Order::Commit)?;
        self.reach().ok_or_else(gone)?;
        self.check()
    }

    pub(super) fn close(&mut self) -> Result<(), RecordError> {
        self.order(Order::Close)?;
        self.reach().ok_or_else(gone)?;
        self.check()
    }

    pub(super) fn hash(&self) -> Hash {
        self.reach().unwrap_or_default()
    }

    /// Waits until everything has been done.
    fn reach(&self) -> Option<Hash> {
        let (reached, when) = sync_channel(1);
        self.orders.send(Order::Reached(reached)).ok()?;
        when.recv().ok()
    }
}

fn gone() -> RecordError {
    RecordError::Store { what: "the record cannot be written".into(), why: "the thread that writes it has ended".into() }
}

fn obey(mut ledger: Box<Ledger>, orders: &Receiver<Order>, failed: &Mutex<Option<RecordError>>) {
    for order in orders {
        let done = match order {
            Order::Rows(rows) => rows.iter().try_for_each(|(table, values)| {
                let values: Vec<&dyn ToSql> = values.iter().map(|value| value as &dyn ToSql).collect();
                ledger.insert(table, &values)
            }),
            Order::Commit => ledger.commit(),
            Order::Close => {
                ledger.close();
                Ok(())
            }
            Order::Reached(when) => {
                // Who asked may have been given up.
                when.send(ledger.hash()).unwrap_or_default();
                Ok(())
            }
        };
        if let Err(error) = done {
            failed.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(error);
        }
    }
}

impl Drop for Aside {
    fn drop(&mut self) {
        // What a row of a run that was given up says is worth keeping; where it cannot be
        // kept the error has latched.
        self.hand_over().and_then(|()| self.orders.send(Order::Commit).map_err(|_| gone())).unwrap_or_default();
        self.reach();
    }
}
