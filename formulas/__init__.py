"""Formulas, products and batches: what is made from what, how much of it, and at what cost.

The words, as the trade uses them:

- A **formula** is a recipe in percent by mass (% w/w). Its **lines**, grouped in **phases** that
  are added together, make exactly 100. One line may be the **balance** (q.s. to 100) and takes
  what the others leave; a line **to effect** is added until it does its work, up to a maximum.
- A **version** is one state of a formula. It is written once; a change is the next version.
- An **intermediate** is a formula used as a line of another: an infusion, an extract. It is made
  in batches of its own and lies in the store as lots.
- A **batch** is one making of a version. It is planned (lots are picked, first expiry first, and
  reserved), weighed and finished, or cancelled.
- A **weighing** is so many grams of one lot into a batch, or back out of it.
- **Process loss** is what normally stays in the pot; **yield** is output ÷ all mass weighed in.
  Normal loss raises the cost of what is good; abnormal loss is an expense.
- **Bulk** is what a batch makes before it is filled. A **product** is what is sold: a fill of bulk
  in its packaging. **Overfill** is what a container gets above the nominal fill.
- **Giveaway** is what is filled above nominal, and its cost. The **heel** is what stays in the
  filler. A fill is **reconciled**: bulk in = filled + samples + heel + rejects + unexplained.

Masses are grams, money is in the co-op's currency, and all of it is Decimal.
"""
