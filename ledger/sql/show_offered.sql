-- What either side may know of the lots of these offers: what each is, and how it stands with
-- whoever gives it and with its origin, since the receiver has no custody yet. Whether it is open
-- is told while the offer is: what the giver opens after that is its own affair.
drop function if exists ledger_show_offered(uuid[]);
create function ledger_show_offered(transfers uuid[]) returns table (
  id uuid, code text, supplier_id uuid, supplier_lot text, expires_on date, retest_on date,
  opened_on date, use_by date, material_name text, counted boolean, giver text, receiver text,
  giver_status text, origin_name text, origin_status text)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select t.id, l.code, l.supplier_id, l.supplier_lot, l.expires_on, l.retest_on, n.opened_on,
         n.use_by, m.name, m.measured_by = 'count', g.name, r.name, c.status, o.name, oc.status
    from ledger_transfer t
    join ledger_lot l on l.coop_id = t.coop_id and l.id = t.lot_id
    join ledger_material m on m.coop_id = t.coop_id and m.id = t.material_id
    join ledger_maker g on g.coop_id = t.coop_id and g.id = t.maker_id
    join ledger_maker r on r.coop_id = t.coop_id and r.id = t.to_maker_id
    join ledger_maker o on o.coop_id = t.coop_id and o.id = l.origin_id
    join ledger_custody c on c.coop_id = t.coop_id and c.maker_id = t.maker_id
      and c.lot_id = t.lot_id
    left join lateral (
      select w.opened_on, w.use_by from ledger_open_since(t.maker_id, t.lot_id) w
        where t.state = 'open'
           or t.maker_id = nullif(current_setting('app.maker', true), '')::uuid) n on true
    left join ledger_custody oc on oc.coop_id = t.coop_id and oc.maker_id = l.origin_id
      and oc.lot_id = t.lot_id
    where t.coop_id = nullif(current_setting('app.coop', true), '')::uuid
      and nullif(current_setting('app.maker', true), '')::uuid in (t.maker_id, t.to_maker_id)
      and t.id = any (transfers)
$$;
select walls.define('ledger_show_offered(uuid[])');
