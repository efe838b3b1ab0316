-- Which portions would cost their makers more than the highest price that they have named. The
-- buyer of a round is told whose, as it hands out or shares a bill, and never what they have named;
-- and each maker is told its own. As it was split, the price is that of what was pledged: leftover
-- is paid for apart from it, or not at all.
create or replace function ledger_round_above_highest(round uuid, portions jsonb)
returns table (maker_id uuid, material_id uuid)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select x.maker, x.material
    from ledger_round_seen(round) r
    cross join (select nullif(current_setting('app.maker', true), '')::uuid) own(maker)
    cross join jsonb_to_recordset(portions)
      as x(maker uuid, material uuid, quantity numeric, amount numeric)
    join ledger_roundshareline l on l.coop_id = r.coop_id and l.round_id = r.id and l.dropped = ''
      and l.maker_id = x.maker and l.material_id = x.material
    join ledger_roundpledge p on p.coop_id = l.coop_id and p.id = l.pledge_id
    join ledger_material m on m.coop_id = l.coop_id and m.id = x.material
    where own.maker in (x.maker, ledger_round_buyer(r.id))
      and x.quantity > 0
      and case when l.quantity = 0 or l.amount = 0 then x.amount / x.quantity
               else x.amount * l.amount / (l.amount + l.leftover_amount)
                    / least(x.quantity, l.quantity) end
          * case m.measured_by when 'count' then 1 else 1000 end > p.highest_price
    order by x.material, x.maker
$$;
select walls.define('ledger_round_above_highest(uuid, jsonb)');
