(function(){var body=document.body.dataset;if(!window.EventSource||!body.reload)return;
var shown=body.edition,since=Date.now();
function renew(event){if(event.data===shown)return;
fetch(location.href,{cache:"no-cache"}).then(function(answer){return answer.ok?answer.text():Promise.reject()}).then(function(text){
var fresh=new DOMParser().parseFromString(text,"text/html"),open=[].map.call(document.querySelectorAll("details[open][id]"),function(one){return one.id}),
held=document.activeElement&&document.activeElement.closest("details[id]");
document.querySelector("main").replaceWith(fresh.querySelector("main"));document.getElementById("age").textContent=fresh.getElementById("age").textContent;
open.forEach(function(id){var one=document.getElementById(id);if(one)one.open=true});
var back=held&&document.getElementById(held.id);if(back)back.querySelector("summary").focus({preventScroll:true});
since=Date.now();body.holds=fresh.body.dataset.holds;shown=body.edition=fresh.body.dataset.edition;document.title=fresh.title}).catch(function(){setTimeout(renew,60000,event)})}
function listen(){var feed=new EventSource(body.up+"api/v1/events");feed.addEventListener("pass",renew);
feed.addEventListener("error",function(){if(feed.readyState===2)setTimeout(listen,60000)})}
listen();
setInterval(function(){var old=document.getElementById("old");if(old&&Date.now()-since>body.holds*1000+120000)old.hidden=false},15000)})();
