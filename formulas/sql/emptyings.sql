-- Units emptied back into bulk: a maker's own, only ever added.
select walls.key('formulas_emptying', true), walls.of_maker('formulas_emptying'),
       walls.link('formulas_emptying', 'maker_id', 'ledger_maker'),
       walls.append_only('formulas_emptying'),
       walls.link('formulas_emptying', 'entry_id', 'ledger_entry', 'maker'),
       walls.link('formulas_emptying', 'lot_id', 'ledger_lot'),
       walls.link('formulas_emptying', 'bulk_lot_id', 'ledger_lot');
