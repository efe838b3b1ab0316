-- Which batch an intermediate was planned for: the walls.
select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.link(t, 'batch_id', 'formulas_batch', 'maker'),
       walls.link(t, 'parent_id', 'formulas_batch', 'maker'),
       walls.append_only(t)
  from unnest(array['formulas_madefor']) t;
