"""The ledger: who has what, where it came from, and what it cost.

The words, as the trade uses them:

- A **lot** is a quantity of one material with one origin, one supplier lot code and one expiry.
- An **account** is a place where stock or value can be: a maker's store, a batch in process, a
  supplier, sales, loss.
- A **holding** is how much of a lot one account has, and the value that came with it.
- An **entry** is one event: goods received, weighed out, made, sold, lost, or an entry undone.
- A **posting** is one line of an entry: account, lot, quantity, value. The postings of an entry sum
  to zero, for the quantity of each lot and for the value in each maker's books.
- A **layer** is what is left of one receipt's cost. Which lot was poured is a fact; what it cost is
  a rule, and the rule (lot-specific, first in first out, moving average) works on layers.

Rows of the ledger are only ever added. `ledger.entries` is the one door through which they come.
"""
