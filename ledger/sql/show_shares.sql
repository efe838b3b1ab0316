-- What every maker of the co-op may know of what is shared: what the lot is, how it stands with
-- the giver, its papers, how much can still be claimed; and the price of a kilogram or piece, which
-- tells of the giver's costs no more than the terms do. Whether it is open is told while the share
-- is: what the giver opens after that is its own affair.
drop function if exists ledger_show_shares(uuid[]);
create function ledger_show_shares(shares uuid[]) returns table (
  id uuid, code text, supplier_id uuid, supplier_lot text, expires_on date, retest_on date,
  opened_on date, use_by date, density numeric, density_at numeric, density_entered text,
  material_name text, inci_name text, counted boolean, giver text, giver_status text,
  claimable numeric, price numeric, papers jsonb)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select s.id, l.code, l.supplier_id, l.supplier_lot, l.expires_on, l.retest_on,
         n.opened_on, n.use_by, l.density, l.density_at, l.density_entered, m.name, m.inci_name,
         m.measured_by = 'count', g.name, c.status,
         case when ledger_share_open(s) and c.status in ('released', 'quarantine') then
           greatest(least(s.quantity - coalesce((
               select sum(x.quantity) from ledger_claim x where x.coop_id = s.coop_id
                 and x.share_id = s.id and x.state = 'accepted'), 0),
             ledger_free_to_give(s.giver_id, s.lot_id)), 0) else 0 end,
         coalesce(s.price, (
           select ledger_part(y.value, case m.measured_by when 'count' then 1 else 1000 end,
                              y.quantity) * (1 + coalesce(s.percent, 0) * 0.01)
             from ledger_layer y
             join ledger_pool p on p.coop_id = y.coop_id and p.maker_id = y.maker_id
               and p.material_id = y.material_id
             where y.coop_id = s.coop_id and y.maker_id = s.giver_id
               and y.material_id = s.material_id and y.any_left
               and (p.cost_formula <> 'lot' or y.lot_id = s.lot_id)
             order by y.ordinal limit 1)),
         (select coalesce(jsonb_agg(jsonb_build_object('id', d.id, 'kind', d.kind, 'name', d.name)
                            order by d.id), '[]')
            from ledger_document d where d.coop_id = s.coop_id and d.lot_id = s.lot_id)
    from ledger_share s
    join ledger_lot l on l.coop_id = s.coop_id and l.id = s.lot_id
    join ledger_material m on m.coop_id = s.coop_id and m.id = s.material_id
    join ledger_maker g on g.coop_id = s.coop_id and g.id = s.giver_id
    join ledger_custody c on c.coop_id = s.coop_id and c.maker_id = s.giver_id
      and c.lot_id = s.lot_id
    left join lateral (
      select w.opened_on, w.use_by from ledger_open_since(s.giver_id, s.lot_id) w
        where ledger_share_open(s)
           or s.giver_id = nullif(current_setting('app.maker', true), '')::uuid) n on true
    where s.coop_id = nullif(current_setting('app.coop', true), '')::uuid
      and nullif(current_setting('app.maker', true), '') is not null
      and s.id = any (shares)
$$;
select walls.define('ledger_show_shares(uuid[])');
