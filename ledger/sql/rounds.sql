-- Order rounds. All makers know of a round and of no pledge but their own: those stand behind a
-- maker's wall, and only the function below reads all of a round, for whoever acts for the co-op,
-- and once it is closed. What was ordered is seen by the buyer, a share by whose it is, and both by
-- whoever acts for the co-op, who alone writes them.

select walls.key('ledger_orderround', false), walls.key('ledger_roundpledge', true),
       walls.key('ledger_roundclosing', false), walls.key('ledger_roundoutcome', false),
       walls.key('ledger_roundorder', true), walls.key('ledger_roundorderline', true),
       walls.key('ledger_roundshare', true), walls.key('ledger_roundshareline', true);
select walls.wall(t, in_coop || seen, in_coop || written)
  from (select format('coop_id = %s', walls.reads('app.coop')),
               format(' and %s is null', walls.reads('app.maker')),
               format(' and maker_id = %s', walls.reads('app.maker')),
               format(' and (maker_id = %1$s or %1$s is null)', walls.reads('app.maker')))
         s(in_coop, of_coop, own, own_or_of_coop),
       lateral (values
         ('ledger_orderround', '', format(' and (buyer_id = %1$s or %1$s is null)',
                                          walls.reads('app.maker'))),
         ('ledger_roundclosing', '', of_coop),
         ('ledger_roundoutcome', '', of_coop),
         ('ledger_roundpledge', own, own),
         ('ledger_roundorder', own_or_of_coop, of_coop),
         ('ledger_roundorderline', own_or_of_coop, of_coop),
         ('ledger_roundshare', own_or_of_coop, of_coop),
         ('ledger_roundshareline', own_or_of_coop, of_coop)) w(t, seen, written);
select walls.in_coop('ledger_orderround'),
       walls.link('ledger_roundpledge', 'maker_id', 'ledger_maker'),
       walls.link('ledger_roundpledge', 'round_id', 'ledger_orderround'),
       walls.link('ledger_roundpledge', 'material_id', 'ledger_material'),
       walls.link('ledger_roundclosing', 'round_id', 'ledger_orderround'),
       walls.link('ledger_roundoutcome', 'round_id', 'ledger_orderround'),
       walls.link('ledger_orderround', 'buyer_id', 'ledger_maker'),
       walls.link('ledger_roundorder', 'maker_id', 'ledger_maker'),
       walls.link('ledger_roundorder', 'round_id', 'ledger_orderround'),
       walls.link('ledger_roundorder', 'supplier_id', 'ledger_supplier'),
       walls.link('ledger_roundorderline', 'order_id', 'ledger_roundorder', 'maker'),
       walls.link('ledger_roundorderline', 'offer_id', 'ledger_offer'),
       walls.link('ledger_roundshare', 'maker_id', 'ledger_maker'),
       walls.link('ledger_roundshare', 'round_id', 'ledger_orderround'),
       walls.link('ledger_roundshareline', 'round_id', 'ledger_orderround'),
       walls.link('ledger_roundshareline', 'pledge_id', 'ledger_roundpledge', 'maker'),
       walls.link('ledger_roundshareline', 'material_id', 'ledger_material');
select walls.append_only(t) from unnest(array['ledger_orderround', 'ledger_roundpledge',
  'ledger_roundclosing', 'ledger_roundoutcome', 'ledger_roundorder', 'ledger_roundorderline',
  'ledger_roundshare', 'ledger_roundshareline']) t;
-- How a round closes is settled by the function below alone.
revoke insert on ledger_roundclosing from stillroom;
grant select on ledger_orderround, ledger_roundpledge to stillroom_ledger;
-- To lock the row of a round; that it is only added holds for everybody.
grant update on ledger_orderround to stillroom_ledger;
grant select, insert on ledger_roundclosing to stillroom_ledger;

-- The work of closing is owed as soon as the round is opened, and due when it closes. It is the
-- co-op's, and its buyer stands for it.
create function ledger_owe_round() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
begin
  insert into ledger_outbox (coop_id, maker_id, id, task, subject, due_at)
  values (new.coop_id, new.buyer_id, uuidv7(), 'close_round', new.id, new.closes_at);
  return new;
end $$;
create trigger owe_round after insert on ledger_orderround
  for each row execute function ledger_owe_round();

-- Pledges are of what all know, and come before the round closes: whoever closes it has the row of
-- the round to itself, so that no pledge comes in behind.
create function ledger_check_pledge() returns trigger
language plpgsql security definer set search_path = pg_catalog, public, pg_temp as $$
declare
  closes timestamptz;
begin
  select r.closes_at into closes from ledger_orderround r
    where r.coop_id = new.coop_id and r.id = new.round_id for share;
  if new.pledged_at >= closes or exists (
      select from ledger_roundclosing c
        where c.coop_id = new.coop_id and c.round_id = new.round_id) then
    raise exception 'The round is closed.'
      using errcode = '23514', constraint = 'round_open';
  end if;
  if exists (select from ledger_material m where m.coop_id = new.coop_id
               and m.id = new.material_id and m.maker_id is not null) then
    raise exception 'The others do not know this material.'
      using errcode = '23514', constraint = 'pledge_of_shared_material';
  end if;
  return new;
end $$;
create trigger check_pledge before insert on ledger_roundpledge
  for each row execute function ledger_check_pledge();

-- All pledges of a closed round, the last of each maker for each material, for the reckoning.
create function ledger_round_pledges(round uuid)
returns table (id uuid, maker_id uuid, material_id uuid, quantity numeric, highest_price numeric,
               takes_leftover boolean)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select * from (
    select distinct on (p.maker_id, p.material_id)
           p.id, p.maker_id, p.material_id, p.quantity, p.highest_price, p.takes_leftover
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

-- How much is pledged of each material, and by how many. The co-op's own are told at any time. A
-- maker is told after the closing, of materials that three or more have pledged: two totals of
-- which one is a pledge longer, or a total of two, would tell what another wants.
create function ledger_round_totals(round uuid)
returns table (material_id uuid, makers bigint, quantity numeric)
language sql stable security definer set search_path = pg_catalog, public, pg_temp as $$
  select s.material_id, count(*), sum(s.quantity) from (
    select distinct on (p.maker_id, p.material_id) p.material_id, p.quantity
      from ledger_roundpledge p
      where p.coop_id = nullif(current_setting('app.coop', true), '')::uuid
        and p.round_id = round
      order by p.maker_id, p.material_id, p.id desc) s
    where s.quantity is not null
    group by s.material_id
    having nullif(current_setting('app.maker', true), '') is null
        or count(*) >= 3 and exists (
             select from ledger_roundclosing c
               where c.coop_id = nullif(current_setting('app.coop', true), '')::uuid
                 and c.round_id = round)
    order by s.material_id
$$;

select walls.define('ledger_owe_round()'),
       walls.define('ledger_check_pledge()'),
       walls.define('ledger_round_pledges(uuid)'),
       walls.define('ledger_round_totals(uuid)');
