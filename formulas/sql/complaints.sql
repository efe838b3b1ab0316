-- Complaints and what became known of them later: a maker's own, only ever added. A day's grace for
-- the day of receipt: where the co-op is, it may be tomorrow already.

select walls.key(t, true), walls.of_maker(t), walls.link(t, 'maker_id', 'ledger_maker'),
       walls.append_only(t)
  from unnest(array['formulas_complaint', 'formulas_complaintfact']) t;
select walls.link('formulas_complaint', 'lot_id', 'ledger_lot'),
       walls.link('formulas_complaint', 'product_id', 'formulas_product', 'maker'),
       walls.link('formulas_complaintfact', 'complaint_id', 'formulas_complaint', 'maker');
alter table formulas_complaint add constraint complaint_not_in_future
  check (received_on <= (recorded_at at time zone 'UTC')::date + 1);
alter table formulas_complaintfact add constraint complaint_fact_not_in_future
  check (learned_on <= (recorded_at at time zone 'UTC')::date + 1);
