-- The day of the first draw that stands of a lot that is not kept as open: from then on it is open,
-- also where its material did not yet say for how long it lasts. What was drawn off a drum is open
-- since it was drawn off. Which draws open a lot, post_entry says; pieces are opened one by one.
-- Whoever said that it is not open after all, or got a sealed one when the open one was used up,
-- knew of the draws that were told before: only what was told after that counts.
--
-- The postings of the lot are read by their days, and no further than to the first draw: each finds
-- its entry by the key, and the limit keeps PostgreSQL from beginning with all entries of a kind.
create or replace function ledger_first_drawn(maker uuid, lot uuid) returns date
language sql stable as $$
  select min(f.happened_on)
    from (select nullif(current_setting('app.coop', true), '')::uuid) own(coop)
    join ledger_holding h on h.coop_id = own.coop and h.maker_id = maker and h.lot_id = lot
      and h.kind = 'store'
    join ledger_material m on m.coop_id = own.coop and m.id = h.material_id
      and m.measured_by <> 'count'
    left join lateral (
      select o.opened_on, o.recorded_at from ledger_lotopening o
        where o.coop_id = own.coop and o.maker_id = maker and o.lot_id = lot
        order by o.id desc limit 1) said on true
    cross join lateral (
      select p.happened_on from ledger_posting p
        cross join lateral (
          select a.kind <> 'loss' and r.id is null
                 and (said.recorded_at is null or e.recorded_at > said.recorded_at)
                 and case when p.quantity < 0
                   then e.kind in ('draw', 'fill', 'decant', 'issue') else e.kind = 'decant' end
            from ledger_entry e
            join ledger_posting q on q.coop_id = own.coop and q.entry_id = e.id
              and q.line = p.line + case when p.quantity < 0 then 1 else -1 end
            join ledger_account a on a.coop_id = own.coop and a.id = q.account_id
            left join ledger_entry r on r.coop_id = own.coop and r.reverses_id = e.id
            where e.coop_id = own.coop and e.id = p.entry_id limit 1) as drawn(opens)
        where p.coop_id = own.coop and p.lot_id = lot and p.account_id = h.account_id
          and p.quantity <> 0 and drawn.opens
        order by p.happened_on limit 1) f
    where said.opened_on is null
$$;

-- Since when a maker's lot is open, as was said or as its draws show, and by when it is to be used;
-- no row where it is sealed. It has the days that it had when it was opened, or else those of its
-- material today, if that says any.
create or replace function ledger_open_since(maker uuid, lot uuid)
returns table (opened_on date, use_by date) language sql stable as $$
  select o.opened_on, coalesce(c.use_by, o.opened_on + m.use_within_days)
    from (select nullif(current_setting('app.coop', true), '')::uuid) own(coop)
    join ledger_custody c on c.coop_id = own.coop and c.maker_id = maker and c.lot_id = lot
    join ledger_lot l on l.coop_id = own.coop and l.id = lot
    join ledger_material m on m.coop_id = own.coop and m.id = c.material_id
    cross join lateral (
      select case when c.opened_on is null then ledger_first_drawn(maker, lot) end) d(drawn_on)
    cross join lateral (
      select case when d.drawn_on is null then c.opened_on
                  else greatest(l.arrived_on, d.drawn_on) end) o(opened_on)
    where o.opened_on is not null
$$;
