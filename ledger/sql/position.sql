-- Where a maker stands with a material on a day. Every figure comes from what is kept up to date,
-- through an index, and each lot in store is looked up by its key whatever the planner believes of
-- the tables, so that nothing grows with history. For the ledger's functions: their walls hold.
--
-- usable: released, not on hold, in date that day. position: usable + on order - all that planned
-- batches need, whether promised from a lot (reserved) or not to be had (shortfall). on_order: what
-- is still to come of what was ordered, by the index of the lines with any.
create or replace function ledger_position(coop uuid, maker uuid, material uuid, day date)
returns table (on_hand numeric, usable numeric, reserved numeric, shortfall numeric,
               on_order numeric, "position" numeric)
language sql stable as $$
  select h.on_hand, h.usable, r.reserved, s.shortfall, o.on_order,
         h.usable + o.on_order - r.reserved - s.shortfall
    from (select coalesce(sum(h.quantity), 0) as on_hand,
                 coalesce(sum(h.quantity) filter (where (
                   select c.status = 'released'
                          and coalesce(
                            ledger_last_day(l.expires_on, l.retest_on, c.use_by) >= day, true)
                     from ledger_custody c, ledger_lot l
                     where c.coop_id = coop and c.maker_id = maker and c.lot_id = h.lot_id
                       and l.coop_id = coop and l.id = h.lot_id)), 0) as usable
            from ledger_holding h
            where h.coop_id = coop and h.maker_id = maker and h.material_id = material
              and h.kind = 'store' and h.any_left) h,
         (select coalesce(sum(r.quantity), 0) as reserved from ledger_reservation r
            where r.coop_id = coop and r.maker_id = maker and r.material_id = material) r,
         (select coalesce(sum(s.quantity), 0) as shortfall from ledger_shortfall s
            where s.coop_id = coop and s.maker_id = maker and s.material_id = material) s,
         (select coalesce(sum(o.quantity), 0) as on_order from ledger_onorder o
            where o.coop_id = coop and o.maker_id = maker and o.material_id = material
              and o.any_left) o
$$;
revoke execute on function ledger_position(uuid, uuid, uuid, date) from public;
grant execute on function ledger_position(uuid, uuid, uuid, date) to stillroom_ledger;
