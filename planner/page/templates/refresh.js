(function(){if(!window.EventSource||!document.body.dataset.reload)return;
var feed=new EventSource(document.body.dataset.up+"api/v1/events"),shown=document.body.dataset.edition;
feed.addEventListener("pass",function(event){if(event.data===shown)return;
fetch(location.href,{cache:"no-cache"}).then(function(answer){return answer.ok?answer.text():Promise.reject()}).then(function(text){
var fresh=new DOMParser().parseFromString(text,"text/html"),open=[].map.call(document.querySelectorAll("details[open][id]"),function(one){return one.id}),
held=document.activeElement&&document.activeElement.closest("details[id]");
document.querySelector("main").replaceWith(fresh.querySelector("main"));document.getElementById("age").textContent=fresh.getElementById("age").textContent;
open.forEach(function(id){var one=document.getElementById(id);if(one)one.open=true});
var back=held&&document.getElementById(held.id);if(back)back.querySelector("summary").focus({preventScroll:true});
shown=document.body.dataset.edition=fresh.body.dataset.edition;document.title=fresh.title}).catch(function(){})})})();
