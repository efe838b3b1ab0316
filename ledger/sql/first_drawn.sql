-- The day of the first draw that stands of a lot of whose opening nothing is kept: from then on it
-- is open, also where its material did not yet say for how long it lasts. What was drawn off a drum
-- is open since it was drawn off. Which draws open a lot, post_entry says.
--
-- The postings of the lot are read by their days, and no further than to the first draw: each finds
-- its entry by the key, and the limit keeps PostgreSQL from beginning with all entries of a kind.
create or replace function ledger_first_drawn(maker uuid, lot uuid) returns date
language sql stable as $$
  select min(f.happened_on)
    from (select nullif(current_setting('app.coop', true), '')::uuid) own(coop)
    join ledger_holding h on h.coop_id = own.coop and h.maker_id = maker and h.lot_id = lot
      and h.kind = 'store'
    cross join lateral (
      select p.happened_on from ledger_posting p
        cross join lateral (
          select a.kind <> 'loss' and r.id is null and case when p.quantity < 0
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
    where not exists (select from ledger_lotopening o where o.coop_id = own.coop
                        and o.maker_id = maker and o.lot_id = lot)
$$;
