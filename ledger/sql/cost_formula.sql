-- A change of cost formula works forward only: the layers take their new shape with the value they
-- have today, by an entry of their own, and nothing earlier is recosted.
create function ledger_choose_cost_formula(
  entry uuid, material uuid, formula text, happened_at timestamptz, person int, reason text)
returns void
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  before text;
begin
  perform ledger_lock_pools(array[material]);
  select p.cost_formula into before from ledger_pool p
    where p.coop_id = coop and p.maker_id = maker and p.material_id = material;
  if before = formula then
    return;
  end if;
  perform ledger_open_entry(entry, 'cost_formula', happened_at, person, reason, '',
    jsonb_build_object('material', material, 'before', before, 'after', formula), null);
  update ledger_pool p set cost_formula = formula
    where p.coop_id = coop and p.maker_id = maker and p.material_id = material;
  -- The lots' own layers serve FIFO as they are, in their order; all else takes a new shape.
  if before = 'lot' and formula = 'fifo' then
    return;
  end if;
  perform ledger_open_layers(array(
    select row(row_number() over (order by h.lot_id), null, null, h.account_id, 'store',
               h.lot_id, material, 0, 0)::ledger_move
      from ledger_holding h
      where h.coop_id = coop and h.maker_id = maker and h.material_id = material
        and h.kind = 'store'
        and h.any_left));
  with old as (
    select l.id, l.quantity, l.value from ledger_layer l
      where l.coop_id = coop and l.maker_id = maker and l.material_id = material and l.any_left
  ), pool as (
    select sum(quantity) as quantity, sum(value) as value from old
  ), lots as (
    select case when formula <> 'average' then h.lot_id end as lot_id, sum(h.quantity) as quantity
      from ledger_holding h
      where h.coop_id = coop and h.maker_id = maker and h.material_id = material
        and h.kind = 'store'
        and h.any_left
      group by 1
  ), stretch as (
    select lot_id, quantity, sum(quantity) over (order by lot_id) as ends from lots
  ), shape as (
    select id, -quantity as quantity, -value as value from old
    union all
    -- Rounded at both ends of each lot's stretch, so that the shares sum to the whole.
    select l.id, s.quantity,
           ledger_part(pool.value, s.ends, pool.quantity)
             - ledger_part(pool.value, s.ends - s.quantity, pool.quantity)
      from stretch s cross join pool
      join ledger_layer l on l.coop_id = coop and l.maker_id = maker and l.material_id = material
        and l.lot_id is not distinct from s.lot_id
  )
  insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity, value)
  select coop, maker, entry, row_number() over (order by id), id, sum(quantity), sum(value)
    from shape group by id having sum(quantity) <> 0 or sum(value) <> 0;
  perform ledger_carry(entry);
end $$;
select walls.define('ledger_choose_cost_formula(uuid, uuid, text, timestamptz, int, text)');
