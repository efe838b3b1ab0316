-- A figure as it is shown: with so many decimals, and a tie goes to the even digit.
create or replace function ledger_shown(value numeric, digits int) returns numeric
immutable parallel safe language sql as $$
  -- A tie is what can be shown only when doubled.
  select case when value = round(value, digits) or value * 2 <> round(value * 2, digits)
    then round(value, digits) else round(round(value * 0.5, digits) * 2, digits) end
$$;

-- The maker's lots among these as JSON, the latest first: what each is, how it stands, how much of
-- it is in store, and what that is worth. Made here, since a page of rows takes several times as
-- long to become objects, dictionaries and text elsewhere; and each row is found by its keys, so
-- that no history is read.
--
-- A lot is worth what its own layer says where the cost formula tells lots apart, otherwise its
-- share of all that is left of the material.
create or replace function ledger_show_lots(lots uuid[], costs boolean, digits int) returns text
language plpgsql stable security definer set search_path = pg_catalog, public, pg_temp
set plan_cache_mode = force_generic_plan set enable_seqscan = off set enable_hashjoin = off
set enable_mergejoin = off as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
begin
  return (select coalesce(json_agg(s order by s.id desc), '[]')::text from (
    select l.id, l.code, l.material_id as material, m.name as material_name,
           l.supplier_id as supplier, l.supplier_lot, c.status, l.arrived_on, l.expires_on,
           l.retest_on, c.opened_on, c.use_by, l.dates_note, l.version,
           case when l.density is not null then json_build_object(
             'value', trim_scale(l.density)::text, 'at', l.density_at::text,
             'entered', l.density_entered) end as density,
           case m.measured_by
             when 'count' then json_build_object('count', round(h.quantity)::text)
             else json_build_object('grams', h.quantity::text) end as on_hand,
           case when costs then ledger_shown(
             coalesce(p.value * h.quantity / nullif(p.quantity, 0), 0), digits)::text
             end as "value",
           case when costs and p.quantity > 0 then json_build_object('per', u.unit,
             'amount', round(p.value * u.per / p.quantity, 6)::text) end as unit_cost,
           (select count(*) from ledger_document d
              where d.coop_id = coop and d.lot_id = wanted.id) as document_count,
           w.id as place, coalesce(w.name, '') as place_name,
           ledger_out_of_place(c.status, w.keeps, w.retired_at) and h.quantity > 0 as out_of_place
    from unnest(lots) wanted(id)
    join ledger_custody c on c.coop_id = coop and c.maker_id = maker and c.lot_id = wanted.id
    join ledger_lot l on l.coop_id = coop and l.id = wanted.id
    join ledger_material m on m.coop_id = coop and m.id = c.material_id
    left join ledger_place w on w.coop_id = coop and w.id = c.place_id
    cross join lateral (
      select case m.measured_by when 'count' then 1 else 1000 end as per,
             case m.measured_by when 'count' then 'each' else 'kg' end as unit) u
    left join ledger_pool o
      on o.coop_id = coop and o.maker_id = maker and o.material_id = c.material_id
    cross join lateral (
      select coalesce(sum(h.quantity), 0.000000) as quantity from ledger_holding h
        where h.coop_id = coop and h.maker_id = maker and h.material_id = c.material_id
          and h.lot_id = wanted.id and h.kind = 'store' and h.any_left) h
    cross join lateral (
      -- In their order, which only the index of those that are not used up gives.
      select sum(y.quantity) as quantity, sum(y.value) as value from (
        select y.quantity, y.value from ledger_layer y
          where y.coop_id = coop and y.maker_id = maker and y.material_id = c.material_id
            and y.any_left and (o.cost_formula <> 'lot' or y.lot_id = wanted.id)
          order by y.ordinal) y) p) s);
end $$;
select walls.define('ledger_show_lots(uuid[], boolean, int)');
