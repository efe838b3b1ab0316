-- Alternates, top-ups and picking anew: the walls, and what a batch wants since.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.append_only(t)
  from unnest(array[
    'formulas_alternate', 'formulas_topup', 'formulas_linechange', 'formulas_picking',
    'formulas_lack']) t;

select walls.link(t, col, target, 'maker')
  from (values
    ('formulas_alternate', 'line_id', 'formulas_line'),
    ('formulas_topup', 'batch_id', 'formulas_batch'),
    ('formulas_topup', 'line_id', 'formulas_batchline'),
    ('formulas_linechange', 'batch_id', 'formulas_batch'),
    ('formulas_linechange', 'top_up_id', 'formulas_topup'),
    ('formulas_linechange', 'line_id', 'formulas_batchline'),
    ('formulas_picking', 'batch_id', 'formulas_batch'),
    ('formulas_pick', 'picking_id', 'formulas_picking'),
    ('formulas_lack', 'picking_id', 'formulas_picking'),
    ('formulas_lack', 'line_id', 'formulas_batchline'),
    ('formulas_lack', 'packaging_id', 'formulas_batchpackaging')) v(t, col, target);

select walls.link(t, col, target)
  from (values
    ('formulas_alternate', 'material_id', 'ledger_material'),
    ('formulas_topup', 'own_material_id', 'ledger_material'),
    ('formulas_topup', 'material_id', 'ledger_material'),
    ('formulas_topup', 'lot_id', 'ledger_lot'),
    ('formulas_topup', 'other_lot_id', 'ledger_lot'),
    ('formulas_linechange', 'material_id', 'ledger_material'),
    ('formulas_lack', 'material_id', 'ledger_material')) v(t, col, target);

-- What each line of a batch wants of which material: as planned, and as its top-ups changed it.
create view formulas_wanted with (security_invoker = true) as
  select coop_id, maker_id, batch_id, id as line_id, material_id, grams from formulas_batchline
  union all
  select coop_id, maker_id, batch_id, line_id, material_id, grams from formulas_linechange;
