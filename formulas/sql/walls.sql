-- The walls of formulas, products and batches: all are a maker's own, and the keys between them
-- cannot leave the maker (helpers in ledger/sql/walls.sql).

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker')
  from unnest(array[
    'formulas_formula', 'formulas_formulaversion', 'formulas_phase', 'formulas_line',
    'formulas_product', 'formulas_packaging', 'formulas_batch', 'formulas_batchline',
    'formulas_batchpackaging', 'formulas_pick', 'formulas_weighing', 'formulas_making',
    'formulas_filling', 'formulas_byproduct', 'formulas_emptying', 'formulas_madefor']) t;
-- Its weighing says whose it is.
select walls.key('formulas_rework', true), walls.of_maker('formulas_rework');

select walls.link(t, col, target, 'maker')
  from (values
    ('formulas_formulaversion', 'formula_id', 'formulas_formula'),
    ('formulas_phase', 'version_id', 'formulas_formulaversion'),
    ('formulas_line', 'version_id', 'formulas_formulaversion'),
    ('formulas_line', 'phase_id', 'formulas_phase'),
    ('formulas_line', 'component_id', 'formulas_formula'),
    ('formulas_product', 'formula_id', 'formulas_formula'),
    ('formulas_packaging', 'product_id', 'formulas_product'),
    ('formulas_batch', 'account_id', 'ledger_account'),
    ('formulas_batch', 'version_id', 'formulas_formulaversion'),
    ('formulas_batch', 'product_id', 'formulas_product'),
    ('formulas_batch', 'making_id', 'formulas_making'),
    ('formulas_batch', 'cancel_entry_id', 'ledger_entry'),
    ('formulas_batchline', 'batch_id', 'formulas_batch'),
    ('formulas_batchline', 'component_id', 'formulas_formula'),
    ('formulas_batchpackaging', 'batch_id', 'formulas_batch'),
    ('formulas_pick', 'batch_id', 'formulas_batch'),
    ('formulas_pick', 'line_id', 'formulas_batchline'),
    ('formulas_pick', 'packaging_id', 'formulas_batchpackaging'),
    ('formulas_weighing', 'batch_id', 'formulas_batch'),
    ('formulas_weighing', 'line_id', 'formulas_batchline'),
    ('formulas_weighing', 'entry_id', 'ledger_entry'),
    ('formulas_making', 'batch_id', 'formulas_batch'),
    ('formulas_making', 'entry_id', 'ledger_entry'),
    ('formulas_making', 'samples_entry_id', 'ledger_entry'),
    ('formulas_filling', 'product_id', 'formulas_product'),
    ('formulas_filling', 'entry_id', 'ledger_entry'),
    ('formulas_filling', 'samples_entry_id', 'ledger_entry'),
    ('formulas_byproduct', 'making_id', 'formulas_making'),
    ('formulas_emptying', 'entry_id', 'ledger_entry'),
    ('formulas_madefor', 'batch_id', 'formulas_batch'),
    ('formulas_madefor', 'parent_id', 'formulas_batch'),
    ('formulas_rework', 'batch_id', 'formulas_batch'),
    ('formulas_rework', 'weighing_id', 'formulas_weighing')) v(t, col, target);

-- Materials and lots are the co-op's rows.
select walls.link(t, col, target)
  from (values
    ('formulas_formula', 'material_id', 'ledger_material'),
    ('formulas_line', 'material_id', 'ledger_material'),
    ('formulas_product', 'material_id', 'ledger_material'),
    ('formulas_packaging', 'material_id', 'ledger_material'),
    ('formulas_batchline', 'material_id', 'ledger_material'),
    ('formulas_batchpackaging', 'material_id', 'ledger_material'),
    ('formulas_pick', 'lot_id', 'ledger_lot'),
    ('formulas_weighing', 'lot_id', 'ledger_lot'),
    ('formulas_making', 'lot_id', 'ledger_lot'),
    ('formulas_filling', 'bulk_lot_id', 'ledger_lot'),
    ('formulas_filling', 'lot_id', 'ledger_lot'),
    ('formulas_byproduct', 'lot_id', 'ledger_lot'),
    ('formulas_emptying', 'lot_id', 'ledger_lot'),
    ('formulas_emptying', 'bulk_lot_id', 'ledger_lot')) v(t, col, target);

-- What was written down at the bench stays, and a version stays as it was first written.
select walls.append_only(t)
  from unnest(array[
    'formulas_formulaversion', 'formulas_phase', 'formulas_line', 'formulas_batchline',
    'formulas_batchpackaging', 'formulas_pick', 'formulas_weighing', 'formulas_making',
    'formulas_filling', 'formulas_byproduct', 'formulas_emptying', 'formulas_madefor',
    'formulas_rework']) t;
revoke delete, truncate on formulas_formula, formulas_product, formulas_batch from stillroom;
