-- By-products: a maker's own, only ever added.
select walls.key('formulas_byproduct', true), walls.of_maker('formulas_byproduct'),
       walls.link('formulas_byproduct', 'maker_id', 'ledger_maker'),
       walls.append_only('formulas_byproduct'),
       walls.link('formulas_byproduct', 'making_id', 'formulas_making', 'maker'),
       walls.link('formulas_byproduct', 'lot_id', 'ledger_lot');
