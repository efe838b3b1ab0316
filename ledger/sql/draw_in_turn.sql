-- Takes what leaves a store from its layers, first in, first out, and returns the moves with the
-- value that each of them took. Of a lot that is costed by itself, its own layers are the queue.
create function ledger_draw_in_turn(entry uuid, moves ledger_move[], by_lot uuid[])
returns ledger_move[] language plpgsql as $$
declare
  coop uuid := nullif(current_setting('app.coop', true), '')::uuid;
  maker uuid := nullif(current_setting('app.maker', true), '')::uuid;
  moved ledger_move[];
begin
  with draw as (
    -- Each draw is a stretch of the pool's queue, which ends at `ends`, in the order of the
    -- lines.
    select m.line, m.material_id, m.quantity, q.queue,
           sum(m.quantity) over (partition by m.material_id, q.queue order by m.line) as ends
      from unnest(moves) m
      cross join lateral (values (
        case when m.material_id = any (by_lot) then m.lot_id end)) q(queue)
      where m.from_kind = 'store' and m.to_kind <> 'store'
  ), piece as (
    -- Where it overlaps a layer's stretch, it takes from that layer.
    select d.line, l.id as layer_id, l.quantity, l.value,
           greatest(d.ends - d.quantity, l.ends - l.quantity) - (l.ends - l.quantity) as a,
           least(d.ends, l.ends) - (l.ends - l.quantity) as b
      from draw d
      cross join lateral (
        select y.id, y.quantity, y.value, sum(y.quantity) over (order by y.ordinal) as ends
          from ledger_layer y
          where y.coop_id = coop and y.maker_id = maker and y.material_id = d.material_id
            and y.any_left and (d.queue is null or y.lot_id = d.queue)) l
      where l.ends > d.ends - d.quantity and l.ends - l.quantity < d.ends
  ), taken as (
    insert into ledger_layerposting (coop_id, maker_id, entry_id, line, layer_id, quantity, value)
    -- Rounded at both ends of the stretch, so that whoever takes the last gram takes the last
    -- cent.
    select coop, maker, entry, line, layer_id, -(b - a),
           ledger_part(value, a, quantity) - ledger_part(value, b, quantity)
      from piece
    returning line, layer_id, quantity, value
  ), carried as (
    update ledger_layer l set quantity = l.quantity + d.quantity, value = l.value + d.value
      from (select layer_id, sum(quantity) as quantity, sum(value) as value from taken
        group by layer_id) d
      where l.coop_id = coop and l.id = d.layer_id
  )
  select array_agg(row(m.line, m.from_id, m.from_kind, m.to_id, m.to_kind, m.lot_id,
    m.material_id, m.quantity,
    case when m.from_kind = 'store' and m.to_kind <> 'store' and m.lot_id is not null
      then coalesce((select -sum(t.value) from taken t where t.line = m.line), 0)
      else m.value end)::ledger_move)
    into moved from unnest(moves) m;
  return moved;
end $$;
