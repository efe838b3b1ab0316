-- All pledges of a closed round, the last of each maker for each material, for the reckoning; with
-- what each uses of it a month.
drop function ledger_round_pledges(uuid);
create function ledger_round_pledges(round uuid)
returns table (id uuid, maker_id uuid, material_id uuid, quantity numeric, highest_price numeric,
               takes_leftover boolean, use_per_month numeric)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select * from (
    select distinct on (p.maker_id, p.material_id) p.id, p.maker_id, p.material_id, p.quantity,
           p.highest_price, p.takes_leftover, p.use_per_month
      from ledger_roundpledge p
      where p.coop_id = nullif(current_setting('app.coop', true), '')::uuid
        and nullif(current_setting('app.maker', true), '') is null
        and p.round_id = round
        and exists (select from ledger_roundclosing c
                      where c.coop_id = p.coop_id and c.round_id = round)
      order by p.maker_id, p.material_id, p.id desc) s
    where s.quantity is not null or s.takes_leftover
    order by s.id
$$;
select walls.define('ledger_round_pledges(uuid)');
